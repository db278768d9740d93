"""One station's samples: forces on its own sample grid, through deck, cells, wiring and converter.

Forces and cells are worked out in whole chunks counted from the last change, ahead of what is read; a
change that falls into what was worked out ahead cuts it there.  So what a sample says depends on what
happened before it, never on how it was asked for.
"""

from __future__ import annotations

import bisect
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import Counts
from benchsim.scale.bridge import channel
from benchsim.scale.cell import Bank, CellState
from benchsim.scale.digitiser import Converter, Figures, figures
from benchsim.scale.grid import Grid
from benchsim.scale.loads import Deck
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Site, Wiring
from benchsim.scale.receptor import bearing, dead_shares_kg
from benchsim.scale.recursion import CHUNK, Pendulum, pendulum, swing

Floats = NDArray[np.float64]

# A deck that moves less than this, as a fraction of E_max, has come to rest: far below any count.
_REST = 1e-11

# How many chunks are worked out at once when less is asked for.  Only speed hangs on it.
_LONGEST_STRIDE = 8


@dataclass(frozen=True, slots=True)
class Setup:
    """What a station is made of, apart from the deck."""

    cells: tuple[Cell, ...]
    wiring: tuple[Wiring, ...]
    digitiser: Digitiser
    site: Site

    @classmethod
    def of(cls, parts: ScaleParts, station: int) -> Setup:
        card = parts.stations[station]
        return cls(
            tuple(parts.cells[i] for i in card.cells),
            tuple(parts.wiring[i] for i in card.cells),
            card.digitiser,
            parts.site,
        )


@dataclass(frozen=True, slots=True)
class Electric:
    """Cells and converter of a setup, ready for samples.

    gain, offset: (cells, 1), a cell's own output in mV/V to counts.  status: (cells,), of the wiring.
    """

    bank: Bank
    figures: Figures
    gain: Floats
    offset: Floats
    status: NDArray[np.uint8]

    @classmethod
    def of(cls, setup: Setup) -> Electric:
        found = figures(setup.digitiser)
        lines = [channel(c, w) for c, w in zip(setup.cells, setup.wiring, strict=True)]
        return cls(
            Bank.of(setup.cells, setup.site, setup.digitiser.rate_hz),
            found,
            np.array([[line.gain * found.scale] for line in lines]),
            np.array([[line.offset_mv_per_v * found.scale] for line in lines]),
            np.array([int(line.status) for line in lines], np.uint8),
        )


@dataclass(frozen=True, slots=True)
class Forces:
    """Masses that the station's cells carry, by position; arrays are (cells, 1)."""

    deck: Deck
    dead_kg: Floats
    per_mass: Floats
    per_x_m: Floats
    per_y_m: Floats
    response: Pendulum

    @classmethod
    def of(cls, deck: Deck, cells: tuple[int, ...], rate_hz: float) -> Forces:
        share, dead_kg, receptor = bearing(deck.receptor), dead_shares_kg(deck.receptor), deck.receptor
        columns = (dead_kg, share.constant, share.per_x_m, share.per_y_m)
        dead, mass, x, y = (np.array([[column[i]] for i in cells]) for column in columns)
        response = pendulum(receptor.natural_frequency_hz, receptor.damping_ratio, rate_hz)
        return cls(deck, dead, mass, x, y, response)

    def at(self, t_us: NDArray[np.int64]) -> Floats:
        """Static masses on the cells, (cells, n)."""
        mass_kg, x_kg_m, y_kg_m = self.deck.sums(t_us)
        return self.dead_kg + (self.per_mass * mass_kg + self.per_x_m * x_kg_m + self.per_y_m * y_kg_m)


@dataclass(frozen=True, slots=True)
class State:
    """What lies behind the next sample.  carried_kg: static, at the last one.  e, z: deck, see Pendulum."""

    carried_kg: Floats
    e: Floats
    z: Floats
    cells: CellState


@dataclass(frozen=True, slots=True)
class Law:
    """What holds between two changes: samples follow from it and from the state."""

    grid: Grid
    forces: Forces
    electric: Electric

    def rest(self) -> State:
        """The state of a deck without a load that has stood for ever."""
        dead_kg = self.forces.dead_kg[:, 0].copy()
        return State(
            dead_kg, np.zeros(len(dead_kg)), np.zeros(len(dead_kg)), self.electric.bank.rest(dead_kg)
        )

    def walk(self, state: State, first: int, count: int) -> tuple[State, list[Floats]]:
        """`count` ideal readings in counts from sample `first`, the start of a chunk; state after them."""
        pieces: list[Floats] = []
        end = first + count
        state = replace(state, cells=self.electric.bank.fitted(state.cells))
        while first < end:
            still = self._still_chunks(first, -(-(end - first) // CHUNK))
            if still and self._rests(state, first):
                output, state = self._quiet(state, min(still * CHUNK, end - first))
            else:
                output, state = self._lively(state, first, end - first)
            pieces.append(output * self.electric.gain + self.electric.offset)
            first += output.shape[1]
        return state, pieces

    def _still_chunks(self, first: int, most: int) -> int:
        """How many whole chunks from `first` on lie before the next motion, up to `most`."""
        motion_us = self.forces.deck.next_motion_us(self.grid.time_us(first - 1))
        if motion_us is None:
            return most
        return min(most, max(0, (self.grid.completed(motion_us) - first) // CHUNK))

    def _rests(self, state: State, first: int) -> bool:
        """Whether the deck has come to rest under what it carries at sample `first`."""
        now_kg = self.forces.at(np.array([self.grid.time_us(first)]))[:, 0]
        return bool(np.all(now_kg == state.carried_kg)) and self._calm(state.e, state.z)

    def _calm(self, e: Floats, z: Floats) -> bool:
        size = np.maximum(np.abs(e), np.abs(z)) * self.electric.bank.per_kg[:, 0]
        return bool(size.max() <= _REST)

    def _quiet(self, state: State, count: int) -> tuple[Floats, State]:
        output, cells = self.electric.bank.still(state.carried_kg, state.cells, count)
        return output, State(state.carried_kg, np.zeros_like(state.e), np.zeros_like(state.z), cells)

    def _lively(self, state: State, first: int, count: int) -> tuple[Floats, State]:
        """Up to `count` samples; fewer when the deck comes to rest before."""
        chunks = -(-count // CHUNK)
        carried_kg = self.forces.at(self.grid.times_us(first, chunks * CHUNK))
        steps = np.empty_like(carried_kg)
        steps[:, 0] = carried_kg[:, 0] - state.carried_kg
        np.subtract(carried_kg[:, 1:], carried_kg[:, :-1], out=steps[:, 1:])

        def rests(chunk: int, e: Floats, z: Floats) -> bool:
            return self._calm(e, z) and self._still_chunks(first + chunk * CHUNK, 1) == 1

        shape = (len(carried_kg), chunks, CHUNK)
        done, e, z = swing(self.forces.response, steps.reshape(shape), state.e, state.z, rests)
        count = min(count, done * CHUNK)
        e, z = e.reshape(len(e), -1), z.reshape(len(z), -1)
        output, cells = self.electric.bank.under(carried_kg[:, :count] + e[:, :count], state.cells)
        last = count - 1
        after = State(carried_kg[:, last].copy(), e[:, last].copy(), z[:, last].copy(), cells)
        return output, after


@dataclass(frozen=True, slots=True)
class _Change:
    """What is different from t_us on; None: as before."""

    t_us: int
    grid: Grid
    setup: Setup | None
    deck: Deck | None


class Sampler:
    """Makes one station's samples, in order.

    _next: the next sample to hand out.  _tip: the next to work out; _ahead holds those between, all under
    the present law.  _mark: where the last stretch of work began, to go back to when a change cuts it.
    """

    def __init__(
        self, cells: tuple[int, ...], setup: Setup, deck: Deck, start_us: int, converter: Converter
    ) -> None:
        self.setup = setup
        self._cells = cells
        grid = Grid.begin(setup.digitiser.rate_hz, setup.digitiser.clock_error_ppm, start_us)
        self._grids = [(start_us, grid)]
        self._law = Law(grid, Forces.of(deck, cells, grid.rate_hz), Electric.of(setup))
        self._changes: deque[_Change] = deque()
        self._next = self._tip = self._mark = 0
        self._state = self._mark_state = self._law.rest()
        self._ahead: list[Floats] = []
        self._stride = 1
        self._converter = converter

    def change(self, t_us: int, setup: Setup | None, deck: Deck | None) -> None:
        """From t_us on it is so.  Changes come in order of time, none before what was read."""
        grid = self._grids[-1][1]
        if setup is not None:
            self.setup = setup
            grid = grid.with_clock(setup.digitiser.clock_error_ppm, t_us)
            if grid is not self._grids[-1][1]:
                self._grids.append((t_us, grid))
        if not self._changes:
            self._cut(self._law.grid.completed(t_us))
        self._changes.append(_Change(t_us, grid, setup, deck))

    def node_time_us(self, t_us: int) -> int:
        """What the node's clock shows at bench time t_us."""
        place = bisect.bisect_left(self._grids, t_us, key=lambda entry: entry[0])
        return self._grids[max(0, place - 1)][1].node_time_us(t_us)

    def read(self, until_us: int) -> Counts:
        """The samples that are complete at until_us and were not read yet."""
        first, pieces = self._next, []
        while True:
            limit = self._law.grid.completed(self._changes[0].t_us) if self._changes else None
            due = self._law.grid.completed(until_us)
            due = due if limit is None else min(due, limit)
            if due > self._next:
                pieces.append(self._hand_out(due, limit))
            if limit is None or self._next < limit or self._changes[0].t_us > until_us:
                return _joined(first, len(self._cells), pieces)
            self._obey(self._changes.popleft())

    def _hand_out(self, due: int, limit: int | None) -> Counts:
        """Samples from _next up to due, all under the present law."""
        if due > self._tip:
            self._work_out(due, limit)
        law, first, count = self._law, self._next, due - self._next
        ideal = self._ahead[0] if len(self._ahead) == 1 else np.concatenate(self._ahead, axis=1)
        self._ahead = [ideal[:, count:]] if ideal.shape[1] > count else []
        self._next = due
        electric = law.electric
        codes, status = self._converter.convert(ideal[:, :count], first, electric.figures, electric.status)
        return Counts(
            first, law.grid.times_us(first, count), law.grid.node_times_us(first, count), codes, status
        )

    def _work_out(self, due: int, limit: int | None) -> None:
        """Go on in whole chunks, up to the next change at most; further each time while nothing changes."""
        count = max(-(-(due - self._tip) // CHUNK), self._stride) * CHUNK
        self._stride = min(2 * self._stride, _LONGEST_STRIDE)
        if limit is not None:
            count = min(count, limit - self._tip)
        self._mark, self._mark_state = self._tip, self._state
        self._state, pieces = self._law.walk(self._state, self._tip, count)
        self._ahead.extend(pieces)
        self._tip += count

    def _cut(self, at: int) -> None:
        """Forget what was worked out from sample `at` on."""
        if at >= self._tip:
            return
        self._state, _ = self._law.walk(self._mark_state, self._mark, at - self._mark)
        kept = at - self._next
        self._ahead = [np.concatenate(self._ahead, axis=1)[:, :kept]] if kept else []
        self._tip = at

    def _obey(self, change: _Change) -> None:
        self._stride = 1
        law, setup = self._law, change.setup
        deck = change.deck or law.forces.deck
        self._law = Law(
            change.grid,
            law.forces if change.deck is None else Forces.of(deck, self._cells, law.grid.rate_hz),
            law.electric if setup is None else Electric.of(setup),
        )


def _joined(first: int, channels: int, pieces: list[Counts]) -> Counts:
    if len(pieces) == 1:
        return pieces[0]
    if not pieces:
        none = np.empty(0, np.int64)
        return Counts(first, none, none, np.empty((0, channels), np.int32), np.empty((0, channels), np.uint8))
    return Counts(
        first,
        np.concatenate([p.t_us for p in pieces]),
        np.concatenate([p.node_t_us for p in pieces]),
        np.concatenate([p.counts for p in pieces]),
        np.concatenate([p.status for p in pieces]),
    )
