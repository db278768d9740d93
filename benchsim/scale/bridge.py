"""A full bridge, its leads, leaks, shorts and terminals; and what a converter makes of it.

Terminals are EXC+, EXC-, SIG+, SIG-, SEN+, SEN-.  Every fault of the wiring is a change of the circuit, and
what it does follows from Kirchhoff's laws; what stays for the samples is one straight line and a status.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchsim.ground.readings import ChannelStatus
from benchsim.scale.circuit import Circuit
from benchsim.scale.parts import REFERENCE_TEMPERATURE_C, Cell, Site, Wiring
from benchsim.scale.recursion import rounded

TERMINALS = ("EXC+", "EXC-", "SIG+", "SIG-", "SEN+", "SEN-")
PAIRS = ("signal", "excitation", "sense")
# The arms of a bridge by the terminals between which they lie.
ARMS = ("EXC+/SIG+", "SIG+/EXC-", "EXC+/SIG-", "SIG-/EXC-")

# A reference below this part of the excitation is out of range.  Common practice, no source.
_LEAST_REFERENCE = 0.5
# The driver of a channel holds its voltage down to this load, and its current below.  Our own choice.
_LEAST_LOAD_OHM = 40.0
# The open-wire test pulls each input to one rail and then to the other through so much; an input that
# follows further than this part of the excitation has nothing behind it.  Our own choice.
_PULL_OHM = 1e8
_FOLLOWS = 0.1
_RAILS = {"SIG+": "EXC+", "SIG-": "EXC+", "SEN+": "EXC-", "SEN-": "EXC+"}
_OTHER = {"+": "-", "-": "+"}
_OTHER_RAILS = {terminal: f"EXC{_OTHER[rail[3]]}" for terminal, rail in _RAILS.items()}
# What a reading without a reference is: beyond any range.
_BEYOND_RANGE_MV_PER_V = 1000.0
# A cell that gives less than this at rated load is measured at 1 mV/V instead.
_LEAST_PROBE_MV_PER_V = 1e-3


@dataclass(frozen=True, slots=True)
class Arms:
    """The four arms of a bridge in ohm: from EXC+ to a signal node (upper), from there to EXC- (lower).

    Infinite is an open arm, 0 a shorted one.
    """

    plus_upper: float
    plus_lower: float
    minus_upper: float
    minus_lower: float

    @classmethod
    def active(cls, ohm: float, strain: float) -> Arms:
        """Two arms rise and two fall by the fraction `strain`; output over excitation is that strain."""
        more, less = ohm * (1.0 + strain), ohm * (1.0 - strain)
        return cls(plus_upper=less, plus_lower=more, minus_upper=more, minus_lower=less)

    def damaged(self, open_arms: tuple[str, ...], shifts: tuple[tuple[str, float], ...]) -> Arms:
        """The same with some arms open and some changed by a fraction, by their names in ARMS."""
        if not open_arms and not shifts:
            return self
        ohms = dict(
            zip(ARMS, (self.plus_upper, self.plus_lower, self.minus_upper, self.minus_lower), strict=True)
        )
        for arm, fraction in shifts:
            ohms[arm] *= 1.0 + fraction
        for arm in open_arms:
            ohms[arm] = math.inf
        return Arms(*ohms.values())


@dataclass(frozen=True, slots=True)
class Reading:
    """What a converter finds at its terminals, over the excitation that it is meant to drive, V/V.

    common: the mean of the signal terminals, less half of the excitation.  reference is what it is really.
    found: whether every input has something behind it.
    """

    signal: float
    reference: float
    common: float = 0.0
    found: bool = True


@dataclass(frozen=True, slots=True)
class Bridge:
    """Four arms with the cell's own resistors in each excitation and each signal conductor."""

    arms: Arms
    in_series_ohm: float = 0.0
    out_series_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class Solved:
    """The voltages of a circuit between 1 V at EXC+ and 0 V at EXC-, and what it draws from there, in A."""

    volts: dict[str, float]
    drawn_a: float


def _solve(bridge: Bridge, wiring: Wiring, pulls: Mapping[str, str]) -> Solved | None:
    """One bridge on its wires.  pulls: to which rail the open-wire test pulls each input just now.

    None: nothing lies between EXC+ and EXC-, so no supply can drive it.
    """
    circuit = _circuit(bridge, wiring)
    for terminal in _terminals(wiring):
        if terminal in pulls:
            circuit.resistor(terminal, pulls[terminal], _PULL_OHM)
    if circuit.one_node("EXC+", "EXC-"):
        return None
    volts = circuit.voltages({"EXC+": 1.0, "EXC-": 0.0})
    return Solved(volts, circuit.out_of("EXC+", volts))


def _circuit(bridge: Bridge, wiring: Wiring) -> Circuit:
    """One bridge on its wires, with nothing at the terminals."""
    circuit, arms = Circuit(), bridge.arms
    for sign, upper, lower in (
        ("+", arms.plus_upper, arms.plus_lower),
        ("-", arms.minus_upper, arms.minus_lower),
    ):
        circuit.resistor("top", f"out{sign}", upper)
        circuit.resistor(f"out{sign}", "bottom", lower)
        circuit.resistor(f"out{sign}", f"cell SIG{sign}", bridge.out_series_ohm)
    circuit.resistor("cell EXC+", "top", bridge.in_series_ohm)
    circuit.resistor("cell EXC-", "bottom", bridge.in_series_ohm)
    _wire(circuit, wiring)
    return circuit


def terminals_ohm(cell: Cell, wiring: Wiring, one: str, other: str) -> float:
    """The resistance between two terminals, as a meter finds it with the node unplugged."""
    bridge = _bridge(
        cell.input_resistance_ohm, cell.output_resistance_ohm, cell.open_arms, cell.arm_shifts, 0.0
    )
    circuit = _circuit(bridge, wiring)
    if circuit.one_node(one, other):
        return 0.0
    current_a = circuit.out_of(one, circuit.voltages({one: 1.0, other: 0.0}))
    return 1.0 / current_a if current_a > 0.0 else math.inf


def _terminals(wiring: Wiring) -> tuple[str, ...]:
    return TERMINALS if wiring.sensed else TERMINALS[:4]


_PAIR_OF = {"SIG": "signal", "EXC": "excitation", "SEN": "sense"}


def _point(terminal: str, swapped: tuple[str, ...]) -> str:
    """The end of the cell that a terminal's conductor leads to."""
    kind, sign = terminal[:3], terminal[3]
    for pair in (_PAIR_OF[kind], *(["excitation"] if kind == "SEN" else [])):
        sign = _OTHER[sign] if pair in swapped else sign
    return f"cell {'SIG' if kind == 'SIG' else 'EXC'}{sign}"


def _wire(circuit: Circuit, wiring: Wiring) -> None:
    """Conductors, leaks and shorts.  A terminal that four conductors do not have takes no part."""
    there = _terminals(wiring)
    for terminal in there:
        ohm = wiring.lead_resistance_ohm + sum(r for t, r in wiring.contacts if t == terminal)
        circuit.resistor(terminal, f"end {terminal}", math.inf if terminal in wiring.open else ohm)
        circuit.resistor(f"end {terminal}", _point(terminal, wiring.swapped), 0.0)
    for terminal, ohm in wiring.leaks:
        if terminal in there:
            circuit.resistor(f"end {terminal}", "EXC-", ohm)
    for one, other, ohm in wiring.shorts:
        if one in there and other in there:
            circuit.resistor(one, other, ohm)


def read_bridge(
    arms: Arms, wiring: Wiring, in_series_ohm: float = 0.0, out_series_ohm: float = 0.0
) -> Reading:
    """Solve one bridge on its wires.

    in_series_ohm, out_series_ohm: the cell's own resistors in each excitation and each signal conductor.
    Crossed excitation takes its sense conductors with it.  A leak lies at the cell's end of its conductor,
    a poor contact at its terminal, a short between two of the node's terminals.
    """
    return _read(Bridge(arms, in_series_ohm, out_series_ohm), wiring)


def _read(bridge: Bridge, wiring: Wiring) -> Reading:
    quiet = _solve(bridge, wiring, {})
    if quiet is None:
        return Reading(0.0, 0.0)
    without = _without_source(bridge, wiring)
    volts = quiet.volts | without
    load = quiet.drawn_a * _LEAST_LOAD_OHM
    drive = 1.0 if load <= 1.0 else 1.0 / load
    sense = "SEN" if wiring.sensed else "EXC"
    return Reading(
        signal=drive * (volts["SIG+"] - volts["SIG-"]),
        reference=drive * (volts[f"{sense}+"] - volts[f"{sense}-"]),
        common=drive * (0.5 * (volts["SIG+"] + volts["SIG-"]) - 0.5),
        found=without.keys().isdisjoint(("SIG+", "SIG-")),
    )


def _without_source(bridge: Bridge, wiring: Wiring) -> dict[str, float]:
    """The inputs that have nothing behind them, with where the open-wire test takes them."""
    if not _may_be_open(bridge, wiring):
        return {}
    one, other = _solve(bridge, wiring, _RAILS), _solve(bridge, wiring, _OTHER_RAILS)
    assert one is not None  # what the pulls add does not join the rails
    assert other is not None
    return {t: one.volts[t] for t in _terminals(wiring)[2:] if abs(one.volts[t] - other.volts[t]) > _FOLLOWS}


def _may_be_open(bridge: Bridge, wiring: Wiring) -> bool:
    """Whether an input can have so much in its way that it follows the test; if not, the test is left out."""
    in_the_way = (*(ohm for _, ohm in wiring.contacts), wiring.lead_resistance_ohm, *_ohms(bridge))
    return bool(wiring.open) or max(in_the_way) > 0.01 * _PULL_OHM


def _ohms(bridge: Bridge) -> tuple[float, ...]:
    arms = bridge.arms
    trims = (bridge.in_series_ohm, bridge.out_series_ohm)
    return (arms.plus_upper, arms.plus_lower, arms.minus_upper, arms.minus_lower, *trims)


def warm(wiring: Wiring, site: Site) -> Wiring:
    """The same with its conductors as they are at the site's temperature.

    Where the reference is taken at the cell and nothing leaks, they do not matter and are left as they are.
    """
    ohm = wiring.lead_resistance_ohm
    if ohm == 0.0 or (wiring.sensed and not wiring.leaks and not wiring.shorts):
        return wiring
    warmer_k = site.temperature_c - REFERENCE_TEMPERATURE_C
    if warmer_k == 0.0:
        return wiring
    return replace(wiring, lead_resistance_ohm=max(0.0, ohm * (1.0 + wiring.lead_effect_per_k * warmer_k)))


@dataclass(frozen=True, slots=True)
class Channel:
    """What a converter reads of a cell: offset_mv_per_v + gain * the cell's own output, and the status."""

    gain: float
    offset_mv_per_v: float
    status: ChannelStatus


def channel(cell: Cell, wiring: Wiring, common_mode_error: float = 0.0) -> Channel:
    """A cell on its wires as a straight line.  common_mode_error: signal in V per V of common mode."""
    return _channel(
        cell.rated_output_mv_per_v, cell.input_resistance_ohm, cell.output_resistance_ohm,
        cell.open_arms, cell.arm_shifts, wiring, common_mode_error,
    )  # fmt: skip


@functools.lru_cache(maxsize=1024)
def _channel(
    rated: float,
    input_ohm: float,
    output_ohm: float,
    open_arms: tuple[str, ...],
    arm_shifts: tuple[tuple[str, float], ...],
    wiring: Wiring,
    common_mode_error: float,
) -> Channel:
    """By what the cell is to its wires: rated output in mV/V, input and output resistance, damage.

    The line runs through no output and rated output.  With no leak it is exact; a leak bends it by less
    than a millionth of rated output down to 100 kohm.  The converter's inputs take no current while they
    measure; in between, its open-wire test pulls each to a rail, and an open input is read where that takes
    it.  It watches its reference; what it reads over a reference that is gone is at a stop, or 0 with no
    signal.  Each channel's driver gives no more current than a load of 40 ohm takes.
    It does not watch the excitation current: with an open EXC lead and four conductors a cell
    reads about 0 and looks like a plausible dead one.
    Not modelled: capacitance, noise of an open input.
    """
    probe_mv_per_v = rated if rated >= _LEAST_PROBE_MV_PER_V else 1.0

    def reading(output_mv_per_v: float) -> Reading:
        return _read(_bridge(input_ohm, output_ohm, open_arms, arm_shifts, output_mv_per_v), wiring)

    idle, loaded = reading(0.0), reading(probe_mv_per_v)
    if min(idle.reference, loaded.reference) < _LEAST_REFERENCE:
        beyond = _BEYOND_RANGE_MV_PER_V if abs(loaded.signal) > 1e-6 else 0.0
        return Channel(0.0, math.copysign(beyond, loaded.signal), ChannelStatus.REFERENCE)
    offset = _mv_per_v(idle, common_mode_error)
    if not idle.found:
        return Channel(0.0, rounded(offset), ChannelStatus.OPEN)
    gain = (_mv_per_v(loaded, common_mode_error) - offset) / probe_mv_per_v
    # Far below any converter's resolution; takes away what elimination leaves of an exact 0.
    offset = offset if abs(offset) > 1e-9 else 0.0
    return Channel(rounded(gain), rounded(offset), ChannelStatus.GOOD)


def _mv_per_v(reading: Reading, common_mode_error: float) -> float:
    return 1000.0 * (reading.signal + common_mode_error * reading.common) / reading.reference


def _bridge(
    input_ohm: float,
    output_ohm: float,
    open_arms: tuple[str, ...],
    arm_shifts: tuple[tuple[str, float], ...],
    output_mv_per_v: float,
) -> Bridge:
    """A cell at this output.  Resistors that trim it stand in series, in the excitation or in the signal."""
    arm_ohm = min(input_ohm, output_ohm)
    strain = output_mv_per_v * 1e-3 * input_ohm / arm_ohm
    arms = Arms.active(arm_ohm, strain).damaged(open_arms, arm_shifts)
    return Bridge(arms, 0.5 * (input_ohm - arm_ohm), 0.5 * (output_ohm - arm_ohm))
