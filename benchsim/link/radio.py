"""A radio link from its description: path loss, link budget, bit errors, and the impairments they come to.

Decibels are of power; every loss is positive.  What is computed goes into the run rounded to 12 significant
digits, so that two mathematics libraries give the same run.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.randomness import Dice
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.rate import Rate

LIGHT_M_PER_S = 299_792_458.0
THERMAL_DBM_PER_HZ = 10.0 * math.log10(1.380649e-23 * 290.0 * 1e3)  # k T at 290 K, -173.975 dBm/Hz
SENSITIVITY_ERROR = 0.01
SENSITIVITY_OCTETS = 20
"""A receiver's sensitivity: the power at which 1 % of frames of 20 octets are lost (IEEE 802.15.4-2006,
6.1.7, memory)."""

PATHS = ("free space", "two-ray", "log-distance")


# -- path loss -----------------------------------------------------------------------------------------


def free_space_db(distance_m: float, frequency_hz: float) -> float:
    """20 log10(4 pi d f / c).  Source: ITU-R P.525."""
    return 20.0 * math.log10(4.0 * math.pi * distance_m * frequency_hz / LIGHT_M_PER_S)


def two_ray_far_db(distance_m: float, heights_m: tuple[float, float]) -> float:
    """40 log10 d - 20 log10(h1 h2): a ray and its reflection from the ground, far away, at any frequency."""
    return 40.0 * math.log10(distance_m) - 20.0 * math.log10(heights_m[0] * heights_m[1])


def crossing_m(frequency_hz: float, heights_m: tuple[float, float]) -> float:
    """4 pi h1 h2 / lambda: where the curves of free space and of two far rays cross."""
    return 4.0 * math.pi * heights_m[0] * heights_m[1] * frequency_hz / LIGHT_M_PER_S


def two_ray_db(distance_m: float, frequency_hz: float, heights_m: tuple[float, float]) -> float:
    """Free space up to where the curves cross, two far rays beyond; the ripple before it is left out."""
    if distance_m <= crossing_m(frequency_hz, heights_m):
        return free_space_db(distance_m, frequency_hz)
    return two_ray_far_db(distance_m, heights_m)


def log_distance_db(
    distance_m: float, frequency_hz: float, exponent: float, reference_m: float = 1.0
) -> float:
    """Free space up to the reference, 10 n log10(d / d0) on top of that; without shadowing."""
    return free_space_db(reference_m, frequency_hz) + 10.0 * exponent * math.log10(distance_m / reference_m)


# -- modulation ----------------------------------------------------------------------------------------


def oqpsk_bit_error(sinr: float) -> float:
    """O-QPSK with the 32-chip spreading of the 2450 MHz band, of SINR (linear, in 2 MHz).

    Source: IEEE 802.15.4-2006, E.4.1.7.
    """
    terms = ((-1) ** k * math.comb(16, k) * math.exp(20.0 * sinr * (1.0 / k - 1.0)) for k in range(2, 17))
    return min(max(8.0 / 15.0 / 16.0 * math.fsum(terms), 0.0), 0.5)


def fsk_bit_error(eb_n0: float) -> float:
    """Orthogonal 2-FSK, coherent, of Eb/N0 (linear): Q(sqrt(Eb/N0)).  Source: textbooks (memory)."""
    return 0.5 * math.erfc(math.sqrt(eb_n0 / 2.0))


def noncoherent_fsk_bit_error(eb_n0: float) -> float:
    """Orthogonal 2-FSK, noncoherent, of Eb/N0 (linear): exp(-Eb/2N0) / 2.  Source: textbooks (memory)."""
    return 0.5 * math.exp(-eb_n0 / 2.0)


@dataclass(frozen=True, slots=True)
class Modulation:
    """bit_error: of SINR, or of Eb/N0 when by_energy.  The rest: what a radio has unless it says otherwise.

    fixed: rate and bandwidth are the standard's and cannot be chosen.
    """

    bit_error: Callable[[float], float]
    by_energy: bool
    fixed: bool
    bits_per_s: int
    bandwidth_hz: float
    overhead_octets: int
    piece_octets: int
    turnaround_us: int


# O-QPSK: preamble 4, delimiter 1, length 1; frame control 2, number 1, network 2, addresses 4, check 2; at
# most 127 octets without the first 6; 12 symbols to turn around (IEEE 802.15.4-2006, 6.3, 6.4, 7.2, memory).
# FSK: preamble 4, delimiter 2, length 1, check 2, and two hertz a bit: common practice, no source.
MODULATIONS = {
    "oqpsk": Modulation(oqpsk_bit_error, False, True, 250_000, 2e6, 17, 116, 192),
    "fsk": Modulation(fsk_bit_error, True, False, 100_000, 200e3, 9, 0, 200),
    "noncoherent fsk": Modulation(noncoherent_fsk_bit_error, True, False, 100_000, 200e3, 9, 0, 200),
}


# -- a radio -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Radio:
    """One radio link; both ends alike.

    power_dbm: into the antenna.  gains_dbi: of both antennas, less their leads.  heights_m: of the antennas,
    for two-ray.  exponent, shadowing_db (standard deviation): for log-distance, from 1 m.
    noise_figure_db: of the receiver, unless sensitivity_dbm is given.  bits_per_s, bandwidth_hz,
    overhead_octets: None for what the modulation has.
    """

    distance_m: float
    frequency_hz: float = 2.45e9
    power_dbm: float = 0.0
    gains_dbi: float = 0.0
    heights_m: tuple[float, float] = (1.5, 1.5)
    path: str = "two-ray"
    exponent: float = 3.0
    shadowing_db: float = 0.0
    modulation: str = "oqpsk"
    noise_figure_db: float = 10.0
    sensitivity_dbm: float | None = None
    bits_per_s: int | None = None
    bandwidth_hz: float | None = None
    overhead_octets: int | None = None
    queue: int = 16


@dataclass(frozen=True, slots=True)
class Budget:
    """A link budget: received = power + gains - path loss - shadowing.

    sinr_db: received less noise.  margin_db: received less sensitivity; fading and vehicles in the way eat
    it up.  bit_error: probability that a bit arrives wrong, 12 significant digits.
    """

    power_dbm: float
    gains_dbi: float
    path_loss_db: float
    shadowing_db: float
    received_dbm: float
    noise_dbm: float
    sinr_db: float
    sensitivity_dbm: float
    margin_db: float
    bit_error: float

    def frame_error(self, octets: int) -> float:
        """Probability that a frame of this length arrives damaged: 1 - (1 - bit error)^(8 L)."""
        return BitErrors(self.bit_error).frame_error(octets)


def check_radio(radio: Radio) -> None:
    """Raises BadInput for a radio that cannot be."""
    if radio.path not in PATHS:
        raise unknown("path", radio.path, PATHS)
    if radio.modulation not in MODULATIONS:
        raise unknown("modulation", radio.modulation, MODULATIONS)
    chosen = radio.bits_per_s is not None or radio.bandwidth_hz is not None
    if chosen and (own := MODULATIONS[radio.modulation]).fixed:
        raise BadInput(
            f"{radio.modulation} with a rate or bandwidth of its own",
            f"leave them out: {own.bits_per_s} bit/s in {own.bandwidth_hz:.0f} Hz (IEEE 802.15.4)",
        )
    if radio.shadowing_db and radio.path != "log-distance":
        raise BadInput(f"shadowing on a path of {radio.path}", "path: log-distance")
    figures = {
        "distance": radio.distance_m,
        "frequency": radio.frequency_hz,
        "antenna height": min(radio.heights_m),
    }
    for name, value in figures.items():
        if not 0 < value < math.inf:
            raise BadInput(f"{name} of {value:g}", "more than 0")


def shadowing(radio: Radio, dice: Dice) -> float:
    """One draw of how much more the path loses than the mean, in dB; it stays while the radio stands."""
    return radio.shadowing_db * dice.normal() if radio.shadowing_db else 0.0


def path_loss_db(radio: Radio) -> float:
    """Mean path loss of a radio, by its own model."""
    if radio.path == "two-ray":
        return two_ray_db(radio.distance_m, radio.frequency_hz, radio.heights_m)
    if radio.path == "log-distance":
        return log_distance_db(radio.distance_m, radio.frequency_hz, radio.exponent)
    return free_space_db(radio.distance_m, radio.frequency_hz)


def bit_error(radio: Radio, sinr_db: float) -> float:
    """Probability of a wrong bit at a ratio of signal to noise and interference in the radio's bandwidth."""
    kind, rate = MODULATIONS[radio.modulation], rate_of(radio)
    bandwidth_hz = kind.bandwidth_hz if radio.bandwidth_hz is None else radio.bandwidth_hz
    spread = bandwidth_hz / rate.bits_per_s if kind.by_energy else 1.0
    return float(f"{kind.bit_error(10.0 ** (sinr_db / 10.0) * spread):.12g}")


def needed_sinr_db(radio: Radio) -> float:
    """SINR at which frames of SENSITIVITY_OCTETS are lost at SENSITIVITY_ERROR, by halving."""
    low, high = -60.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2.0
        lost = BitErrors(bit_error(radio, middle)).frame_error(SENSITIVITY_OCTETS)
        low, high = (middle, high) if lost > SENSITIVITY_ERROR else (low, middle)
    return high


def noise_dbm(bandwidth_hz: float, noise_figure_db: float = 0.0) -> float:
    """Thermal noise at 290 K in a bandwidth, as a receiver of that noise figure has it."""
    return THERMAL_DBM_PER_HZ + 10.0 * math.log10(bandwidth_hz) + noise_figure_db


def budget_of(radio: Radio, shadowing_db: float = 0.0) -> Budget:
    """The link budget, every term.  shadowing_db: what was drawn for it.  Raises BadInput."""
    check_radio(radio)
    needed_db = needed_sinr_db(radio)
    own = MODULATIONS[radio.modulation].bandwidth_hz
    noise = noise_dbm(own if radio.bandwidth_hz is None else radio.bandwidth_hz, radio.noise_figure_db)
    if radio.sensitivity_dbm is not None:
        noise = radio.sensitivity_dbm - needed_db
    loss_db = path_loss_db(radio)
    received = radio.power_dbm + radio.gains_dbi - loss_db - shadowing_db
    sinr_db = received - noise
    return Budget(
        power_dbm=radio.power_dbm,
        gains_dbi=radio.gains_dbi,
        path_loss_db=loss_db,
        shadowing_db=shadowing_db,
        received_dbm=received,
        noise_dbm=noise,
        sinr_db=sinr_db,
        sensitivity_dbm=noise + needed_db,
        margin_db=sinr_db - needed_db,
        bit_error=bit_error(radio, sinr_db),
    )


def rate_of(radio: Radio) -> Rate:
    """What a frame's bits take on the air."""
    kind = MODULATIONS[radio.modulation]
    return Rate(
        bits_per_s=kind.bits_per_s if radio.bits_per_s is None else radio.bits_per_s,
        overhead_octets=kind.overhead_octets if radio.overhead_octets is None else radio.overhead_octets,
        queue=radio.queue,
        piece_octets=kind.piece_octets,
        turnaround_us=kind.turnaround_us,
    )


def stack_of(radio: Radio, shadowing_db: float = 0.0) -> tuple[Impairment, ...]:
    """The impairments a radio comes to, each way: its rate, then its bit errors.

    A frame that arrives damaged is refused by its check, so bit errors lose frames by their length.  Errors
    in what the radio itself sends around a frame are left out.  Raises BadInput.
    """
    budget = budget_of(radio, shadowing_db)
    return rate_of(radio), BitErrors(budget.bit_error)
