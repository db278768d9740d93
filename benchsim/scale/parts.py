"""What a scale is made of: data-sheet figures, no behaviour.  Faults give changed copies of these.

Figures are named as in OIML R 60.  A fraction is of one: 0.0002 is 0.02 %.
"""

from __future__ import annotations

from dataclasses import dataclass, field

STANDARD_GRAVITY_M_PER_S2 = 9.80665
REFERENCE_TEMPERATURE_C = 20.0
COPPER_PER_K = 0.00393  # at 20 C; annealed copper, IEC 60028, from memory


@dataclass(frozen=True, slots=True)
class Cell:
    """One load cell as its data sheet tells it.

    nonlinearity: largest departure from the straight line through no load and E_max, as a fraction of
    rated output, signed.  hysteresis: largest difference of falling from rising load over 0..E_max, as a
    fraction of rated output.  creep: terms (fraction of the load's output that comes late, time constant
    in s).  recovery: what unloading leaves behind of a load, over what came late of it.
    repeatability: standard deviation of the output from loading to loading, as a fraction of the output.
    zero_effect_per_k: shift of the no-load output, as a fraction of rated output per K.
    span_effect_per_k: change of sensitivity, as a fraction per K.  thermal_time_constant_s: how late both
    follow the site's temperature.  safe_load: load that does no harm, over E_max.  overload_set: lasting
    shift of zero by a load beyond it, over what the load lies beyond.  open_arms, arm_shifts: damage to the
    bridge, by the names of arms in bridge.py; a shift is a fraction of the arm.  noise lives in the
    digitiser.
    """

    e_max_kg: float
    rated_output_mv_per_v: float = 2.0
    zero_balance_mv_per_v: float = 0.0
    nonlinearity: float = 0.0
    hysteresis: float = 0.0
    creep: tuple[tuple[float, float], ...] = ()
    recovery: float = 1.0
    repeatability: float = 0.0
    zero_effect_per_k: float = 0.0
    span_effect_per_k: float = 0.0
    thermal_time_constant_s: float = 0.0
    safe_load: float = 1.5
    overload_set: float = 0.0
    input_resistance_ohm: float = 385.0
    output_resistance_ohm: float = 350.0
    open_arms: tuple[str, ...] = ()
    arm_shifts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Wiring:
    """One cell's way to its terminals.

    lead_resistance_ohm: each conductor, at 20 C; lead_effect_per_k: how it grows with the site's temperature,
    that of copper unless said otherwise.  sensed: six conductors, the reference is taken at the cell.
    open: terminals that have no contact.  contacts: (terminal, resistance of its contact in ohm).
    swapped: "signal", "excitation" or "sense" pairs that are crossed.
    leaks: (terminal, resistance to the shield in ohm), the shield lying at EXC-.
    shorts: (terminal, terminal, resistance between them in ohm).
    Terminals are EXC+, EXC-, SIG+, SIG-, SEN+, SEN-.
    """

    lead_resistance_ohm: float = 0.0
    sensed: bool = True
    open: tuple[str, ...] = ()
    swapped: tuple[str, ...] = ()
    leaks: tuple[tuple[str, float], ...] = ()
    contacts: tuple[tuple[str, float], ...] = ()
    shorts: tuple[tuple[str, str, float], ...] = ()
    lead_effect_per_k: float = COPPER_PER_K


@dataclass(frozen=True, slots=True)
class Support:
    """Where a cell carries the receptor.  What a rigid deck on such supports does stands in contact.py.

    stiffness_n_per_m: of cell and mount; relative values are enough while heights are 0 and nothing lifts.
    height_m: how far it stands above where it should.  anchored: it also pulls; else the deck lifts off it.
    binding_kg, binding_share: what something beside the cell holds at most by friction, and which share of
    a change of load goes there until it slips.
    """

    x_m: float
    y_m: float
    stiffness_n_per_m: float = 1.0e8
    height_m: float = 0.0
    anchored: bool = False
    binding_kg: float = 0.0
    binding_share: float = 0.5


@dataclass(frozen=True, slots=True)
class Touch:
    """Something other than a support under the deck: it carries what its stiffness and the deck's sinking
    make of it.  gap_m: how far the deck sinks before it touches.  bonded: it is fast, and pulls as well.
    push_kg: what it presses the deck down with whatever the deck does; negative lifts.
    """

    x_m: float
    y_m: float
    stiffness_n_per_m: float = 0.0
    gap_m: float = 0.0
    bonded: bool = False
    push_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Receptor:
    """The load receptor: length along x, width along y, its dead load spread evenly, its vertical response.

    natural_frequency_hz, damping_ratio: the second-order response of force on each support.
    touches: what else is under it.
    """

    length_m: float
    width_m: float
    dead_load_kg: float
    supports: tuple[Support, ...]
    natural_frequency_hz: float = 8.0
    damping_ratio: float = 0.08
    touches: tuple[Touch, ...] = ()


@dataclass(frozen=True, slots=True)
class Digitiser:
    """The converter of one node.

    full_scale_mv_per_v: bridge output at the end of its range, either sign.  bits: signed resolution.
    noise: either noise_density_v_per_rthz at its input or noise_rms_counts at its output, the other 0.
    pickup_mv_per_v: amplitude of mains at pickup_hz on the input.  filter: "none" or "sinc1" ... "sinc4",
    filter_samples: length of one of its boxes, in samples.  clock_error_ppm: positive runs fast.
    reference_error: fraction by which its reference is wrong, 0 when ratiometric and healthy.
    common_mode_error: signal that it sees in V per V by which the mean of both inputs lies away from half
    of the excitation, 1e-5 is 100 dB of rejection.
    stuck_bits: low bits of the code that do not move.
    offset_mv_per_v: what it reads with its input shorted.  input_range_mv_per_v: where its amplifier
    saturates before the stops, either sign; 0 nowhere.  skew_us: channels are converted one after the other,
    the last at the sample's time, each so much before the next.  frozen, missing: channels (from 0) whose
    code stands still, and whose converter is not there.
    self_heating_k: how much warmer than the site it is; the *_effect_per_k are changes of reference (a
    fraction), offset (mV/V) and clock (ppm) for each K away from 20 C.
    """

    rate_hz: float = 80.0
    bits: int = 24
    full_scale_mv_per_v: float = 4.0
    excitation_v: float = 5.0
    noise_density_v_per_rthz: float = 0.0
    noise_rms_counts: float = 0.0
    pickup_mv_per_v: float = 0.0
    pickup_hz: float = 50.0
    filter: str = "none"
    filter_samples: int = 1
    clock_error_ppm: float = 0.0
    reference_error: float = 0.0
    common_mode_error: float = 0.0
    stuck_bits: int = 0
    offset_mv_per_v: float = 0.0
    input_range_mv_per_v: float = 0.0
    skew_us: int = 0
    frozen: tuple[int, ...] = ()
    missing: tuple[int, ...] = ()
    self_heating_k: float = 0.0
    reference_effect_per_k: float = 0.0
    offset_effect_per_k: float = 0.0
    clock_effect_per_k: float = 0.0

    @property
    def counts_per_mv_per_v(self) -> float:
        return float(2 ** (self.bits - 1)) / self.full_scale_mv_per_v


@dataclass(frozen=True, slots=True)
class Station:
    """The scale's side of one node: which cells (indices from 0) are on its channels, in channel order."""

    cells: tuple[int, ...]
    digitiser: Digitiser = field(default_factory=Digitiser)


@dataclass(frozen=True, slots=True)
class Wind:
    """Wind over the deck.  speed_m_per_s: mean; turbulence: standard deviation over mean.  height_m: of the
    deck above ground, by which gusts are the quicker.  lift_area_m2: area times coefficient of the lift on
    it; negative presses it down.
    """

    speed_m_per_s: float
    turbulence: float = 0.2
    height_m: float = 2.0
    lift_area_m2: float = 4.0


@dataclass(frozen=True, slots=True)
class Vibration:
    """A floor that trembles up and down: RMS acceleration about one frequency; bandwidth of half power."""

    acceleration_m_per_s2: float
    frequency_hz: float
    bandwidth_hz: float = 1.0


@dataclass(frozen=True, slots=True)
class Site:
    """Where the scale stands.  gravity_*: where it is used, and where it was calibrated."""

    temperature_c: float = REFERENCE_TEMPERATURE_C
    gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2
    calibration_gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2
    wind: Wind | None = None
    vibration: Vibration | None = None


@dataclass(frozen=True, slots=True)
class ScaleParts:
    """A whole scale.  cells and wiring run in the order of receptor.supports."""

    receptor: Receptor
    cells: tuple[Cell, ...]
    wiring: tuple[Wiring, ...]
    stations: tuple[Station, ...]
    site: Site = field(default_factory=Site)
