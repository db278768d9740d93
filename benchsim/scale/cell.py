"""Load cells, several at a time: from force to bridge output in mV/V.

Everything that makes a cell's output other than its straight line stands here: nonlinearity, hysteresis,
creep, temperature.  Forces come as x, the fraction of E_max under the gravity of calibration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.parts import REFERENCE_TEMPERATURE_C, Cell, Site
from benchsim.scale.recursion import CHUNK, clamp_scan, lag, lag_scan
from benchsim.scale.site import weight_factor

Floats = NDArray[np.float64]

# Widths of the play operators, fractions of E_max.  All lie within a quarter, so that half-way along a full
# loop each gives its whole width.  Four make the loop round enough.  Common practice, no source.
_WIDTHS = np.array([0.0625, 0.125, 0.1875, 0.25])[:, None]
_ALL_WIDTHS = float(_WIDTHS.sum())


@dataclass(frozen=True, slots=True)
class CellState:
    """What cells remember.  x: (cells,), at the last sample.  late: (terms, cells), how far each late part
    lies from where it will end.  play: (widths, cells), the play operators."""

    x: Floats
    late: Floats
    play: Floats


@dataclass(frozen=True, slots=True)
class Bank:
    """The figures of some cells as arrays, (cells, 1) unless said.

    The cell's own output in mV/V is
        zero + span * (x + 4 n x (1 - x) + hysteresis + sum of fraction * late)
    zero: zero balance and its temperature effect.  span: rated output and its temperature effect.
    n: nonlinearity, so the largest departure from the line through no load and E_max is n, at half of it.
    Hysteresis: play operators (Prandtl and Ishlinskii) of which the line through the ends of the full loop
    is taken; a cell starts as one that has been loaded to E_max and back before (preloads, OIML R 60-2
    2.10.2), so the loop 0 to E_max and back closes, and at half of it falling lies above rising by the full
    figure.
    Creep: the fraction of a load's output comes late, with its time constant; what has stood for ever, as
    the dead load, has come in full.  Removing a load leaves the same behind, mirrored (creep recovery).
    Not modelled: own frequency of the cell, temperature within the cell that lags the site's, side loads and
    twist, barometric and humidity effects, damage by overload, effect of temperature on creep and hysteresis.
    """

    per_kg: Floats
    zero: Floats
    span: Floats
    linear: Floats
    bend: Floats
    loop: Floats  # weight of each play operator
    fraction: Floats  # (terms, cells)
    drive: Floats  # (terms, cells, 1)
    powers: tuple[Floats, ...]  # each (terms, cells, 1, 1)
    table: Floats  # (terms, cells, CHUNK)

    @classmethod
    def of(cls, cells: tuple[Cell, ...], site: Site, rate_hz: float) -> Bank:
        """The figures of these cells at this site, sampled at this rate."""

        def column(values: list[float]) -> Floats:
            return np.array(values)[:, None]

        warmer_k = site.temperature_c - REFERENCE_TEMPERATURE_C
        rated = [c.rated_output_mv_per_v for c in cells]
        terms = max((len(c.creep) for c in cells), default=0)
        creeps = [[*c.creep, *[(0.0, 1.0)] * (terms - len(c.creep))] for c in cells]
        lags = [[lag(creep[k][1], rate_hz) for creep in creeps] for k in range(terms)]
        loop = column([c.hysteresis / (2.0 * _ALL_WIDTHS) for c in cells])
        bend = column([4.0 * c.nonlinearity for c in cells])
        count = len(cells)
        return cls(
            per_kg=column([weight_factor(site) / c.e_max_kg for c in cells]),
            zero=column([c.zero_balance_mv_per_v + r * c.zero_effect_per_k * warmer_k
                         for c, r in zip(cells, rated, strict=True)]),
            span=column([r * (1.0 + c.span_effect_per_k * warmer_k)
                         for c, r in zip(cells, rated, strict=True)]),
            linear=1.0 + bend - loop * (len(_WIDTHS) - 2.0 * _ALL_WIDTHS),
            bend=bend,
            loop=loop,
            fraction=np.array([[c[k][0] for c in creeps] for k in range(terms)]).reshape(terms, count),
            drive=np.array([g.drive for row in lags for g in row]).reshape(terms, count, 1),
            powers=tuple(
                np.array([g.powers[s] for row in lags for g in row]).reshape(terms, count, 1, 1)
                for s in range(CHUNK.bit_length() - 1)
            ),
            table=np.array([g.table for row in lags for g in row]).reshape(terms, count, CHUNK),
        )  # fmt: skip

    def rest(self, mass_kg: Floats) -> CellState:
        """Cells that have stood under these masses for ever, after preloads.  mass_kg: (cells,)."""
        x = mass_kg * self.per_kg[:, 0]
        play = np.maximum(np.minimum(1.0 - _WIDTHS, x + _WIDTHS), x - _WIDTHS)
        return CellState(x, np.zeros(self.fraction.shape), play)

    def fitted(self, state: CellState) -> CellState:
        """A state of cells with another number of creep terms, for these; a new term has come in full."""
        terms = len(self.fraction)
        if len(state.late) == terms:
            return state
        late = np.zeros(self.fraction.shape)
        kept = min(terms, len(state.late))
        late[:kept] = state.late[:kept]
        return CellState(state.x, late, state.play)

    def under(self, mass_kg: Floats, state: CellState) -> tuple[Floats, CellState]:
        """Output under changing masses from the start of a chunk.  mass_kg: (cells, n).  Gives (cells, n)."""
        x = mass_kg * self.per_kg
        play, state_play = _play(x, state.play)
        output = x * (self.linear - self.bend * x) + self.loop * (play - _ALL_WIDTHS)
        late = state.late
        if len(late):
            parts = self._late(x, state)
            late = parts[:, :, -1].copy()
            for part, fraction in zip(parts, self.fraction, strict=True):
                output += fraction[:, None] * part
        return self.zero + self.span * output, CellState(x[:, -1].copy(), late, state_play)

    def _late(self, x: Floats, state: CellState) -> Floats:
        """(terms, cells, n)"""
        terms, count, n = len(state.late), *x.shape
        chunks = -(-n // CHUNK)
        steps = np.zeros((count, chunks * CHUNK))
        steps[:, 0] = x[:, 0] - state.x
        np.subtract(x[:, 1:], x[:, :-1], out=steps[:, 1:n])
        values = (self.drive * -steps).reshape(terms, count, chunks, CHUNK)
        lag_scan(values, self.powers)
        start = state.late
        for chunk in range(chunks):
            values[:, :, chunk] += self.table * start[:, :, None]
            start = values[:, :, chunk, -1]
        return values.reshape(terms, count, chunks * CHUNK)[:, :, :n]

    def still(self, mass_kg: Floats, state: CellState, n: int) -> tuple[Floats, CellState]:
        """Output under masses that stay, from the start of a chunk, for n samples.  mass_kg: (cells,)."""
        x = mass_kg * self.per_kg[:, 0]
        play = np.minimum(np.maximum(state.play, x - _WIDTHS), x + _WIDTHS)
        bent = (x * (self.linear[:, 0] - self.bend[:, 0] * x))[:, None]
        level = self.zero + self.span * (bent + self.loop * (_sum(play)[:, None] - _ALL_WIDTHS))
        if not len(state.late):
            return np.repeat(level, n, axis=1), CellState(x, state.late, play)
        chunks, count = -(-n // CHUNK), len(x)
        starts = np.empty((chunks, *state.late.shape))
        starts[0] = state.late
        for chunk in range(1, chunks):
            starts[chunk] = starts[chunk - 1] * self.table[:, :, -1]
        heights = np.moveaxis(starts, 0, 2) * (self.span[:, 0] * self.fraction)[:, :, None]
        output = np.empty((count, chunks, CHUNK))
        output[:] = level[:, :, None]
        for height, table in zip(heights, self.table, strict=True):
            output += height[:, :, None] * table[:, None, :]
        late = starts[-1] * self.table[:, :, (n - 1) % CHUNK]
        return output.reshape(count, chunks * CHUNK)[:, :n], CellState(x, late, play)


def _sum(play: Floats) -> Floats:
    """Over the widths, always in the same order."""
    return np.asarray(play[0] + play[1] + play[2] + play[3])


def _play(x: Floats, play: Floats) -> tuple[Floats, Floats]:
    """The sum of the play operators along x, (cells, n) or (cells, 1) where none moves; and their end."""
    if np.all(x.max(axis=1) - _WIDTHS <= play) and np.all(play <= x.min(axis=1) + _WIDTHS):
        return _sum(play)[:, None], play
    lower, upper = x - _WIDTHS[:, :, None], x + _WIDTHS[:, :, None]
    first = np.minimum(np.maximum(play, lower[:, :, 0]), upper[:, :, 0])
    lower[:, :, 0] = upper[:, :, 0] = first
    paths = clamp_scan(lower, upper)
    return _sum(paths), paths[:, :, -1].copy()
