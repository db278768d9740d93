"""A full bridge, its leads, leaks and terminals, by nodal analysis; and what a converter makes of it.

Terminals are EXC+, EXC-, SIG+, SIG-, SEN+, SEN-.  A circuit is solved in plain floats by elimination,
once a change; what stays for the samples is one straight line a cell and a channel status.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from benchsim.ground.readings import ChannelStatus
from benchsim.scale.parts import Cell, Wiring
from benchsim.scale.recursion import rounded

TERMINALS = ("EXC+", "EXC-", "SIG+", "SIG-", "SEN+", "SEN-")
PAIRS = ("signal", "excitation")

# A reference below this part of the excitation is out of range.  Common practice, no source.
_LEAST_REFERENCE = 0.5
# What an input reads that its open-wire test current drives to a stop: beyond any range.
_BEYOND_RANGE_MV_PER_V = 1000.0
# A cell that gives less than this at rated load is measured at 1 mV/V instead.
_LEAST_PROBE_MV_PER_V = 1e-3
# Less than this is no resistance: it would cost elimination more digits than it is worth, 6e-9 of 350 ohm.
_JOINED_OHM = 1e-6


@dataclass(slots=True)
class Circuit:
    """Resistors between named nodes, some of which are held at a voltage."""

    _conductance: dict[tuple[str, str], float] = field(default_factory=dict)
    _joined: dict[str, str] = field(default_factory=dict)

    def _node(self, name: str) -> str:
        while name in self._joined:
            name = self._joined[name]
        return name

    def resistor(self, a: str, b: str, ohm: float) -> None:
        """Connect two nodes: (almost) 0 ohm makes them one, infinite ohm connects nothing."""
        if ohm <= _JOINED_OHM:
            if self._node(a) != self._node(b):
                self._joined[self._node(a)] = self._node(b)
        elif ohm != math.inf:
            self._conductance[a, b] = self._conductance.get((a, b), 0.0) + 1.0 / ohm
        else:
            self._conductance.setdefault((a, b), 0.0)

    def voltages(self, held: dict[str, float]) -> dict[str, float]:
        """The voltage of every node, where `held` nodes are held; a node with no way to them is at 0 V.

        Source: nodal analysis, Gaussian elimination; the matrix is symmetric and dominated by its diagonal.
        """
        known = {self._node(n): v for n, v in held.items()}
        links = [(self._node(a), self._node(b), g) for (a, b), g in self._conductance.items() if g]
        names = sorted(_reached(known, links) - known.keys())
        place = {n: i for i, n in enumerate(names)}
        size = len(names)
        rows = [[0.0] * (size + 1) for _ in names]
        for a, b, g in links:
            for near, far in ((a, b), (b, a)):
                if near not in place or near == far:
                    continue
                row = rows[place[near]]
                row[place[near]] += g
                if far in place:
                    row[place[far]] -= g
                else:
                    row[size] += g * known[far]
        found = known | dict(zip(names, _eliminate(rows), strict=True))
        everyone = {n for pair in self._conductance for n in pair} | set(self._joined) | set(held)
        return {n: found.get(self._node(n), 0.0) for n in everyone}


def _reached(start: Iterable[str], links: list[tuple[str, str, float]]) -> set[str]:
    """The nodes that conductance connects with the first ones."""
    reached = set(start)
    size = 0
    while size < len(reached):
        size = len(reached)
        for a, b, _ in links:
            if a in reached or b in reached:
                reached |= {a, b}
    return reached


def _eliminate(rows: list[list[float]]) -> list[float]:
    size = len(rows)
    for k, pivot in enumerate(rows):
        for row in rows[k + 1 :]:
            if row[k] != 0.0:
                factor = row[k] / pivot[k]
                for j in range(k, size + 1):
                    row[j] -= factor * pivot[j]
    solution = [0.0] * size
    for k in range(size - 1, -1, -1):
        rest = sum(rows[k][j] * solution[j] for j in range(k + 1, size))
        solution[k] = (rows[k][size] - rest) / rows[k][k]
    return solution


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


@dataclass(frozen=True, slots=True)
class Reading:
    """What a converter finds at its terminals, over the excitation it drives: signal and reference, V/V."""

    signal: float
    reference: float


def read_bridge(
    arms: Arms, wiring: Wiring, in_series_ohm: float = 0.0, out_series_ohm: float = 0.0
) -> Reading:
    """Solve one bridge on its wires.

    in_series_ohm, out_series_ohm: the cell's own resistors in each excitation and each signal conductor.
    Crossed excitation takes its sense conductors with it.  A leak lies at the cell's end of its conductor.
    """
    circuit = Circuit()
    for sign, upper, lower in (
        ("+", arms.plus_upper, arms.plus_lower),
        ("-", arms.minus_upper, arms.minus_lower),
    ):
        circuit.resistor("top", f"out{sign}", upper)
        circuit.resistor(f"out{sign}", "bottom", lower)
        circuit.resistor(f"out{sign}", f"cell SIG{sign}", out_series_ohm)
    circuit.resistor("cell EXC+", "top", in_series_ohm)
    circuit.resistor("cell EXC-", "bottom", in_series_ohm)
    _wire(circuit, wiring)
    volts = circuit.voltages({"EXC+": 1.0, "EXC-": 0.0})
    sense = "SEN" if wiring.sensed else "EXC"
    return Reading(signal=volts["SIG+"] - volts["SIG-"], reference=volts[f"{sense}+"] - volts[f"{sense}-"])


def _wire(circuit: Circuit, wiring: Wiring) -> None:
    other = {"+": "-", "-": "+"}
    for terminal in TERMINALS if wiring.sensed else TERMINALS[:4]:
        kind, sign = terminal[:3], terminal[3]
        pair = "signal" if kind == "SIG" else "excitation"
        end = other[sign] if pair in wiring.swapped else sign
        point = f"cell SIG{end}" if kind == "SIG" else f"cell EXC{end}"
        ohm = math.inf if terminal in wiring.open else wiring.lead_resistance_ohm
        circuit.resistor(terminal, f"end {terminal}", ohm)
        circuit.resistor(f"end {terminal}", point, 0.0)
    for terminal, ohm in wiring.leaks:
        if wiring.sensed or not terminal.startswith("SEN"):
            circuit.resistor(f"end {terminal}", "EXC-", ohm)


@dataclass(frozen=True, slots=True)
class Channel:
    """What a converter reads of a cell: offset_mv_per_v + gain * the cell's own output, and the status."""

    gain: float
    offset_mv_per_v: float
    status: ChannelStatus


def channel(cell: Cell, wiring: Wiring) -> Channel:
    """A cell on its wires as a straight line."""
    return _channel(cell.rated_output_mv_per_v, cell.input_resistance_ohm, cell.output_resistance_ohm, wiring)


@functools.lru_cache(maxsize=1024)
def _channel(rated: float, input_ohm: float, output_ohm: float, wiring: Wiring) -> Channel:
    """By what the cell is to its wires: rated output in mV/V, input and output resistance.

    The line runs through no output and rated output.  With no leak it is exact; a leak bends it by less
    than a millionth of rated output down to 100 kohm.  The converter's inputs take no current; it has an
    open-wire test on SIG+ and SIG- (a small current that drives an open input to a stop) and watches its
    reference; what it reads over a reference that is gone is at a stop, or 0 with no signal.
    It does not watch the excitation current: with an open EXC lead and four conductors a cell
    reads about 0 and looks like a plausible dead one.
    Not modelled: temperature of leads, common mode, capacitance, noise of an open input.
    """
    open_signals = [t for t in ("SIG+", "SIG-") if t in wiring.open]
    if open_signals:
        sign = 1.0 if "SIG+" in open_signals else -1.0
        return Channel(0.0, sign * _BEYOND_RANGE_MV_PER_V, ChannelStatus.OPEN)
    if wiring.sensed and ("SEN+" in wiring.open or "SEN-" in wiring.open):
        return Channel(0.0, _BEYOND_RANGE_MV_PER_V, ChannelStatus.REFERENCE)
    probe_mv_per_v = rated if rated >= _LEAST_PROBE_MV_PER_V else 1.0
    idle = _read_cell(input_ohm, output_ohm, wiring, 0.0)
    loaded = _read_cell(input_ohm, output_ohm, wiring, probe_mv_per_v)
    if min(idle.reference, loaded.reference) < _LEAST_REFERENCE:
        beyond = _BEYOND_RANGE_MV_PER_V if abs(loaded.signal) > 1e-6 else 0.0
        return Channel(0.0, math.copysign(beyond, loaded.signal), ChannelStatus.REFERENCE)
    offset = 1000.0 * idle.signal / idle.reference
    gain = (1000.0 * loaded.signal / loaded.reference - offset) / probe_mv_per_v
    # Far below any converter's resolution; takes away what elimination leaves of an exact 0.
    offset = offset if abs(offset) > 1e-9 else 0.0
    return Channel(rounded(gain), rounded(offset), ChannelStatus.GOOD)


def _read_cell(input_ohm: float, output_ohm: float, wiring: Wiring, output_mv_per_v: float) -> Reading:
    """Resistors that trim a cell stand in series with its bridge, in the excitation or in the signal."""
    arm_ohm = min(input_ohm, output_ohm)
    strain = output_mv_per_v * 1e-3 * input_ohm / arm_ohm
    return read_bridge(
        Arms.active(arm_ohm, strain),
        wiring,
        in_series_ohm=0.5 * (input_ohm - arm_ohm),
        out_series_ohm=0.5 * (output_ohm - arm_ohm),
    )
