"""Load cells, several at a time: from force to bridge output in mV/V.

Everything that makes a cell's output other than its straight line stands here: nonlinearity, hysteresis,
creep, temperature.  Forces come as x, the fraction of E_max under the gravity of calibration.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
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


Creeps = tuple[tuple[tuple[float, float], ...], ...]
_NO_TERM = (0.0, 1.0)


@dataclass(frozen=True, slots=True)
class CellState:
    """What cells remember.  x: (cells,), at the last sample.  late: (terms, cells), how far each late part
    lies from where it will end.  play: (widths, cells), the play operators.  creeps: by cell, which terms
    (fraction, time constant) the rows of late are; what lies beyond a cell's terms means nothing."""

    x: Floats
    late: Floats
    play: Floats
    creeps: Creeps


@dataclass(frozen=True, slots=True)
class Line:
    """The figures of cells that are theirs for good, (cells, 1) each; see Bank."""

    per_kg: Floats
    linear: Floats
    bend: Floats
    loop: Floats  # weight of each play operator

    @classmethod
    @functools.lru_cache(maxsize=64)
    def of(cls, cells: tuple[tuple[float, float, float], ...], weight: float) -> Line:
        """cells: (e_max_kg, nonlinearity, hysteresis) of each.  weight: of a mass here, over calibration."""
        loop = _column([hysteresis / (2.0 * _ALL_WIDTHS) for _, _, hysteresis in cells])
        bend = _column([4.0 * nonlinearity for _, nonlinearity, _ in cells])
        linear = 1.0 + bend - loop * (len(_WIDTHS) - 2.0 * _ALL_WIDTHS)
        return cls(_column([weight / e_max_kg for e_max_kg, _, _ in cells]), linear, bend, loop)


@dataclass(frozen=True, slots=True)
class Lags:
    """Creep terms of cells, those with fewer filled up with terms of nothing."""

    creeps: Creeps
    fraction: Floats  # (terms, cells)
    drive: Floats  # (terms, cells, 1)
    powers: tuple[Floats, ...]  # each (terms, cells, 1, 1)
    table: Floats  # (terms, cells, CHUNK)

    @classmethod
    @functools.lru_cache(maxsize=64)
    def of(cls, creeps: Creeps, rate_hz: float) -> Lags:
        terms, count = max((len(c) for c in creeps), default=0), len(creeps)
        filled = [[*c, *[_NO_TERM] * (terms - len(c))] for c in creeps]
        lags = [[lag(creep[k][1], rate_hz) for creep in filled] for k in range(terms)]
        return cls(
            creeps,
            fraction=np.array([[c[k][0] for c in filled] for k in range(terms)]).reshape(terms, count),
            drive=np.array([g.drive for row in lags for g in row]).reshape(terms, count, 1),
            powers=tuple(
                np.array([g.powers[s] for row in lags for g in row]).reshape(terms, count, 1, 1)
                for s in range(CHUNK.bit_length() - 1)
            ),
            table=np.array([g.table for row in lags for g in row]).reshape(terms, count, CHUNK),
        )


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

    zero: Floats
    span: Floats
    line: Line
    lags: Lags

    @classmethod
    def of(cls, cells: tuple[Cell, ...], site: Site, rate_hz: float) -> Bank:
        """The figures of these cells at this site, sampled at this rate."""
        warmer_k = site.temperature_c - REFERENCE_TEMPERATURE_C
        zero = [
            c.zero_balance_mv_per_v + c.rated_output_mv_per_v * c.zero_effect_per_k * warmer_k for c in cells
        ]
        span = [c.rated_output_mv_per_v * (1.0 + c.span_effect_per_k * warmer_k) for c in cells]
        figures = tuple((c.e_max_kg, c.nonlinearity, c.hysteresis) for c in cells)
        return cls(
            _column(zero), _column(span), Line.of(figures, weight_factor(site)),
            Lags.of(tuple(c.creep for c in cells), rate_hz),
        )  # fmt: skip

    @property
    def per_kg(self) -> Floats:
        """Fraction of E_max of 1 kg here."""
        return self.line.per_kg

    def rest(self, mass_kg: Floats) -> CellState:
        """Cells that have stood under these masses for ever, after preloads.  mass_kg: (cells,)."""
        x = mass_kg * self.per_kg[:, 0]
        play = np.maximum(np.minimum(1.0 - _WIDTHS, x + _WIDTHS), x - _WIDTHS)
        return CellState(x, np.zeros(self.lags.fraction.shape), play, self.lags.creeps)

    def fitted(self, state: CellState) -> CellState:
        """A state of cells with other creep terms, for these: each term goes on by its fraction and time
        constant, the first of equal ones first; a new term has come in full."""
        if state.creeps == self.lags.creeps:
            return state
        late = np.zeros(self.lags.fraction.shape)
        for cell, (old, new) in enumerate(zip(state.creeps, self.lags.creeps, strict=True)):
            row_of = {key: row for row, key in enumerate(_by_occurrence(old))}
            for row, key in enumerate(_by_occurrence(new)):
                if key in row_of:
                    late[row, cell] = state.late[row_of[key], cell]
        return CellState(state.x, late, state.play, self.lags.creeps)

    def under(self, mass_kg: Floats, state: CellState) -> tuple[Floats, Callable[[int], CellState]]:
        """Output under changing masses from the start of a chunk, and the state after so many of them.

        mass_kg: (cells, n).  Output: (cells, n).
        """
        x, line = mass_kg * self.per_kg, self.line
        play, play_at = _play(x, state.play)
        output = x * (line.linear - line.bend * x) + line.loop * (play - _ALL_WIDTHS)
        late = self._late(x, state) if len(state.late) else np.zeros((0, *x.shape))
        for part, fraction in zip(late, self.lags.fraction, strict=True):
            output += fraction[:, None] * part

        def after(n: int) -> CellState:
            return CellState(x[:, n - 1].copy(), late[:, :, n - 1].copy(), play_at(n - 1), state.creeps)

        return self.zero + self.span * output, after

    def _late(self, x: Floats, state: CellState) -> Floats:
        """(terms, cells, n)"""
        terms, count, n = len(state.late), *x.shape
        chunks = -(-n // CHUNK)
        steps = np.zeros((count, chunks * CHUNK))
        steps[:, 0] = x[:, 0] - state.x
        np.subtract(x[:, 1:], x[:, :-1], out=steps[:, 1:n])
        values = (self.lags.drive * -steps).reshape(terms, count, chunks, CHUNK)
        lag_scan(values, self.lags.powers)
        start = state.late
        for chunk in range(chunks):
            values[:, :, chunk] += self.lags.table * start[:, :, None]
            start = values[:, :, chunk, -1]
        return values.reshape(terms, count, chunks * CHUNK)[:, :, :n]

    def still(self, mass_kg: Floats, state: CellState, n: int) -> tuple[Floats, Callable[[int], CellState]]:
        """The same under masses that stay, for n samples.  mass_kg: (cells,)."""
        x, line, lags = mass_kg * self.per_kg[:, 0], self.line, self.lags
        play = np.minimum(np.maximum(state.play, x - _WIDTHS), x + _WIDTHS)
        bent = (x * (line.linear[:, 0] - line.bend[:, 0] * x))[:, None]
        level = self.zero + self.span * (bent + line.loop * (_sum(play)[:, None] - _ALL_WIDTHS))
        if not len(state.late):
            return np.repeat(level, n, axis=1), lambda _: CellState(x, state.late, play, state.creeps)
        chunks, count = -(-n // CHUNK), len(x)
        starts = np.empty((chunks, *state.late.shape))
        starts[0] = state.late
        for chunk in range(1, chunks):
            starts[chunk] = starts[chunk - 1] * lags.table[:, :, -1]
        heights = starts.transpose(1, 2, 0) * (self.span[:, 0] * lags.fraction)[:, :, None]
        output = np.empty((count, chunks, CHUNK))
        output[:] = level[:, :, None]
        for height, table in zip(heights, lags.table, strict=True):
            output += height[:, :, None] * table[:, None, :]

        def after(n: int) -> CellState:
            late = starts[(n - 1) // CHUNK] * lags.table[:, :, (n - 1) % CHUNK]
            return CellState(x, late, play, state.creeps)

        return output.reshape(count, chunks * CHUNK)[:, :n], after


def _column(values: list[float]) -> Floats:
    return np.array(values)[:, None]


def _by_occurrence(terms: tuple[tuple[float, float], ...]) -> list[tuple[tuple[float, float], int]]:
    """Each term with how many equal ones stand before it."""
    return [(term, terms[:row].count(term)) for row, term in enumerate(terms)]


def _sum(play: Floats) -> Floats:
    """Over the widths, always in the same order."""
    return np.asarray(play[0] + play[1] + play[2] + play[3])


def _play(x: Floats, play: Floats) -> tuple[Floats, Callable[[int], Floats]]:
    """The sum of the play operators along x, (cells, n) or (cells, 1) where none moves; and each of them,
    (widths, cells), at a place along x."""
    if (x.max(axis=1) - _WIDTHS <= play).all() and (play <= x.min(axis=1) + _WIDTHS).all():
        return _sum(play)[:, None], lambda _: play
    lower, upper = x - _WIDTHS[:, :, None], x + _WIDTHS[:, :, None]
    first = np.minimum(np.maximum(play, lower[:, :, 0]), upper[:, :, 0])
    lower[:, :, 0] = upper[:, :, 0] = first
    paths = clamp_scan(lower, upper)
    return _sum(paths), lambda n: paths[:, :, n].copy()
