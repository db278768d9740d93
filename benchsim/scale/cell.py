"""Load cells, several at a time: from force to bridge output in mV/V.

Everything that makes a cell's output other than its straight line stands here: nonlinearity, hysteresis,
creep, temperature, repeatability, what overload leaves.  Forces come as x, the fraction of E_max under the
gravity of calibration.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.parts import REFERENCE_TEMPERATURE_C, Cell, Site
from benchsim.scale.recursion import CHUNK, clamp_scan, lag, lag_scan
from benchsim.scale.site import weight_factor
from benchsim.scale.warmth import Warmth

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
    (fraction, time constant) the rows of late are; what lies beyond a cell's terms means nothing.
    off_k: (cells,), how far each lies above site_c.  peak: (cells,), the largest x so far.  seat: (cells,),
    by what fraction each is too steep under the load as it happens to sit."""

    x: Floats
    late: Floats
    play: Floats
    creeps: Creeps
    off_k: Floats
    site_c: float
    peak: Floats
    seat: Floats


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
    the dead load, has come in full.  Removing a load leaves the same behind, mirrored (creep recovery),
    times `recovery`.
    Beside: x is taken a fraction too steep as the load happens to sit (see `seated`); a load beyond the safe
    one leaves a shift of zero for good, by the largest x so far; temperature effects come late (warmth.py).
    Not modelled: own frequency of the cell, side loads and twist, barometric and humidity effects, overload
    upwards, effect of temperature on creep and hysteresis, gradients of temperature within the cell.
    """

    balance: Floats  # mV/V at the reference temperature
    rated: Floats
    span_effect: Floats  # per K, a fraction
    figures: tuple[tuple[float, float, float], ...]  # of Line
    zero: Floats
    span: Floats
    line: Line
    lags: Lags
    warmth: Warmth
    site: Site
    behind: Floats | None  # recovery less 1; None: no cell has any
    wear: tuple[Floats, Floats] | None  # safe load over E_max, shift of zero by what lies beyond
    repeatability: Floats  # (cells,)

    @classmethod
    def of(cls, cells: tuple[Cell, ...], site: Site, rate_hz: float) -> Bank:
        """The figures of these cells at this site, sampled at this rate."""
        rated = _column([c.rated_output_mv_per_v for c in cells])
        balance = _column([c.zero_balance_mv_per_v for c in cells])
        figures = tuple((c.e_max_kg, c.nonlinearity, c.hysteresis) for c in cells)
        warm = tuple(
            (c.rated_output_mv_per_v, c.zero_effect_per_k, c.span_effect_per_k, c.thermal_time_constant_s)
            for c in cells
        )
        wear = _column([c.safe_load for c in cells]), _column([c.overload_set for c in cells])
        return cls(
            balance, rated, _column([c.span_effect_per_k for c in cells]), figures, balance, rated,
            Line.of(figures, weight_factor(site)),
            Lags.of(tuple(c.creep for c in cells), rate_hz), Warmth.of(warm, rate_hz), site,
            _column([c.recovery - 1.0 for c in cells]) if any(c.recovery != 1.0 for c in cells) else None,
            wear if wear[1].any() else None,
            np.array([c.repeatability for c in cells]),
        ).at(site)  # fmt: skip

    def at(self, site: Site) -> Bank:
        """The same cells at another site."""
        warmer_k = site.temperature_c - REFERENCE_TEMPERATURE_C
        return replace(
            self,
            zero=self.balance + self.warmth.zero_per_k * warmer_k,
            span=self.rated * (1.0 + self.span_effect * warmer_k),
            line=Line.of(self.figures, weight_factor(site)),
            site=site,
        )

    @property
    def site_c(self) -> float:
        return self.site.temperature_c

    @property
    def per_kg(self) -> Floats:
        """Fraction of E_max of 1 kg here."""
        return self.line.per_kg

    def rest(self, mass_kg: Floats) -> CellState:
        """Cells that have stood under these masses for ever, after preloads.  mass_kg: (cells,)."""
        x = mass_kg * self.per_kg[:, 0]
        play = np.maximum(np.minimum(1.0 - _WIDTHS, x + _WIDTHS), x - _WIDTHS)
        none = np.zeros(len(x))
        late = np.zeros(self.lags.fraction.shape)
        return CellState(x, late, play, self.lags.creeps, none, self.site_c, x, none)

    def seated(self, state: CellState, draws: Floats, part: float) -> CellState:
        """The state once a load has been put on that is this part of all that the cells carry.

        draws: (cells,), standard normal.  What lay there before keeps its seat, so a long row of loadings
        does not wander off.
        """
        seat = (1.0 - part) * state.seat + part * (self.repeatability * draws)
        return replace(state, seat=seat)

    def fitted(self, state: CellState) -> CellState:
        """A state of cells with other creep terms at another temperature, for these: each term goes on by its
        fraction and time constant, the first of equal ones first; a new term has come in full."""
        if state.site_c != self.site_c:
            off_k = self.warmth.late * (state.off_k + (state.site_c - self.site_c))
            state = replace(state, off_k=off_k, site_c=self.site_c)
        if state.creeps == self.lags.creeps:
            return state
        late = np.zeros(self.lags.fraction.shape)
        for cell, (old, new) in enumerate(zip(state.creeps, self.lags.creeps, strict=True)):
            row_of = {key: row for row, key in enumerate(_by_occurrence(old))}
            for row, key in enumerate(_by_occurrence(new)):
                if key in row_of:
                    late[row, cell] = state.late[row_of[key], cell]
        return replace(state, late=late, creeps=self.lags.creeps)

    def warms(self, state: CellState, most: int) -> int:
        """For how many chunks, up to `most`, some cell has still to take the temperature of its site."""
        return self.warmth.lasts(state.off_k, most)

    def settled(self, state: CellState) -> CellState:
        """The state once every cell has the temperature of its site."""
        return replace(state, off_k=np.zeros(len(state.off_k)))

    def under(self, mass_kg: Floats, state: CellState) -> tuple[Floats, Callable[[int], CellState]]:
        """Output under changing masses from the start of a chunk, and the state after so many of them.

        mass_kg: (cells, n).  Output: (cells, n).
        """
        x, line = mass_kg * self.per_kg, self.line
        play, play_at = _play(x, state.play)
        output = x * (line.linear + state.seat[:, None] - line.bend * x) + line.loop * (play - _ALL_WIDTHS)
        late = self._late(x, state) if len(state.late) else np.zeros((0, *x.shape))
        for part, fraction in zip(late, self.lags.fraction, strict=True):
            output += fraction[:, None] * self._left(part)
        peaks = state.peak[:, None]
        if self.wear is not None:
            peaks = np.maximum(np.maximum.accumulate(x, axis=1), peaks)
            output += self._worn(peaks)
        output, off_at = self._at_temperature(output, state)

        def after(n: int) -> CellState:
            peak = peaks[:, min(n, peaks.shape[1]) - 1].copy()
            return replace(
                state, x=x[:, n - 1].copy(), late=late[:, :, n - 1].copy(), play=play_at(n - 1),
                off_k=off_at(n - 1), peak=peak,
            )  # fmt: skip

        return output, after

    def _left(self, late: Floats) -> Floats:
        """Late parts of one term as they show.  late: cells come second last, as (..., cells, n)."""
        return late if self.behind is None else late + self.behind * np.maximum(late, 0.0)

    def _worn(self, peak: Floats) -> Floats:
        """What the largest loads so far have left behind, over rated output."""
        assert self.wear is not None  # asked only where some cell wears
        safe, shift = self.wear
        return shift * np.maximum(peak - safe, 0.0)

    def _at_temperature(self, output: Floats, state: CellState) -> tuple[Floats, Callable[[int], Floats]]:
        """Outputs in mV/V of outputs over rated output, and how far the cells lie off their site there."""
        found = self.zero + self.span * output
        if not state.off_k.any():
            return found, lambda _: state.off_k
        off_k, warmth = self.warmth.along(state.off_k, output.shape[1]), self.warmth
        found += off_k * (warmth.zero_per_k + warmth.span_per_k * output)
        return found, lambda place: off_k[:, place].copy()

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
        x, line = mass_kg * self.per_kg[:, 0], self.line
        play = np.minimum(np.maximum(state.play, x - _WIDTHS), x + _WIDTHS)
        bent = (x * (line.linear[:, 0] + state.seat - line.bend[:, 0] * x))[:, None]
        level = bent + line.loop * (_sum(play)[:, None] - _ALL_WIDTHS)
        peak = state.peak
        if self.wear is not None:
            peak = np.maximum(peak, x)
            level = level + self._worn(peak[:, None])
        starts = self._starts(state, -(-n // CHUNK))
        if state.off_k.any():
            output, off_at = self._at_temperature(self._standing(level, starts, 1.0, n), state)
        else:
            output, off_at = self._standing(self.zero + self.span * level, starts, self.span[:, 0], n), None

        def after(n: int) -> CellState:
            late = starts[(n - 1) // CHUNK] * self.lags.table[:, :, (n - 1) % CHUNK]
            off_k = off_at(n - 1) if off_at is not None else state.off_k
            return replace(state, x=x, late=late, play=play, off_k=off_k, peak=peak)

        return output, after

    def _starts(self, state: CellState, chunks: int) -> Floats:
        """Late parts before each chunk while nothing changes, (chunks, terms, cells)."""
        starts = np.empty((chunks, *state.late.shape))
        starts[0] = state.late
        for chunk in range(1, chunks):
            starts[chunk] = starts[chunk - 1] * self.lags.table[:, :, -1]
        return starts

    def _standing(self, level: Floats, starts: Floats, scale: Floats | float, n: int) -> Floats:
        """Levels, (cells, 1), with what is still to come late of them, times scale; (cells, n)."""
        chunks, terms, count = starts.shape
        if not terms:
            return np.repeat(level, n, axis=1)
        parts = self._left(starts.transpose(1, 2, 0))
        heights = parts * (scale * self.lags.fraction)[:, :, None]
        output = np.empty((count, chunks, CHUNK))
        output[:] = level[:, :, None]
        for height, table in zip(heights, self.lags.table, strict=True):
            output += height[:, :, None] * table[:, None, :]
        return output.reshape(count, chunks * CHUNK)[:, :n]


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
