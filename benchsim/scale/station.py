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
from benchsim.scale.digitiser import Converter
from benchsim.scale.forces import Forces
from benchsim.scale.grid import Grid
from benchsim.scale.law import Electric, Law, Setup, State, Stretch
from benchsim.scale.loads import Deck
from benchsim.scale.recursion import CHUNK
from benchsim.scale.seating import Seating

Floats = NDArray[np.float64]

# How many chunks are worked out at once when less is asked for.  Only speed hangs on it.
_LONGEST_STRIDE = 8


@dataclass(frozen=True, slots=True)
class _Change:
    """What is different from t_us on; None: as before."""

    t_us: int
    grid: Grid
    setup: Setup | None
    deck: Deck | None
    seating: Seating | None


# Ideal samples, (cells, n), with the law they are under and the number of the first.
_Piece = tuple[Law, int, Floats]


def _runs(pieces: list[_Piece]) -> list[list[_Piece]]:
    """Neighbours that share a grid and a converter's figures: those are converted at once."""
    runs: list[list[_Piece]] = []
    for piece in pieces:
        if runs and runs[-1][0][0].converts_as(piece[0]):
            runs[-1].append(piece)
        else:
            runs.append([piece])
    return runs


class Sampler:
    """Makes one station's samples, in order.

    _next: the next sample to hand out.  _tip: the next to work out; _ahead holds those between, all under
    the present law.  _work: the last work done, from sample _mark on, to go back into when a change cuts it.
    """

    def __init__(
        self, cells: tuple[int, ...], setup: Setup, deck: Deck, start_us: int, converter: Converter
    ) -> None:
        self.setup = setup
        self._cells = cells
        grid = Grid.begin(setup.digitiser.rate_hz, setup.digitiser.clock_error_ppm, start_us)
        self._grids = [(start_us, grid)]
        self._law = Law(grid, Forces.of(deck, cells, grid.rate_hz), Electric.of(setup), start_us)
        self._changes: deque[_Change] = deque()
        self._next = self._tip = self._mark = 0
        self._mark_state = self._law.rest()
        self._work: list[Stretch] = []
        self._ahead: list[Floats] = []
        self._stride = 1
        self._converter = converter

    def change(
        self, t_us: int, setup: Setup | None, deck: Deck | None, seating: Seating | None = None
    ) -> None:
        """From t_us on it is so.  Changes come in order of time, none before what was read."""
        grid = self._grids[-1][1]
        if setup is not None:
            self.setup = setup
            grid = grid.with_clock(setup.digitiser.clock_error_ppm, t_us)
            if grid is not self._grids[-1][1]:
                self._grids.append((t_us, grid))
        if not self._changes:
            self._cut(self._law.grid.completed(t_us))
        self._changes.append(_Change(t_us, grid, setup, deck, seating))

    def node_time_us(self, t_us: int) -> int:
        """What the node's clock shows at bench time t_us."""
        place = bisect.bisect_left(self._grids, t_us, key=lambda entry: entry[0])
        return self._grids[max(0, place - 1)][1].node_time_us(t_us)

    def read(self, until_us: int) -> Counts:
        """The samples that are complete at until_us and were not read yet."""
        first = self._next
        pieces: list[_Piece] = []
        while True:
            limit = self._law.grid.completed(self._changes[0].t_us) if self._changes else None
            due = self._law.grid.completed(until_us)
            due = due if limit is None else min(due, limit)
            if due > self._next:
                pieces.append((self._law, self._next, self._hand_out(due, limit)))
            if limit is None or self._next < limit or self._changes[0].t_us > until_us:
                if len(pieces) == 1:
                    return self._converted(pieces)
                return _joined(first, len(self._cells), [self._converted(run) for run in _runs(pieces)])
            self._obey(self._changes.popleft())

    def _hand_out(self, due: int, limit: int | None) -> Floats:
        """Ideal samples from _next up to due, all under the present law."""
        if due > self._tip:
            self._work_out(due, limit)
        count = due - self._next
        ideal = self._ahead[0] if len(self._ahead) == 1 else np.concatenate(self._ahead, axis=1)
        self._ahead = [ideal[:, count:]] if ideal.shape[1] > count else []
        self._next = due
        return ideal[:, :count]

    def _converted(self, run: list[_Piece]) -> Counts:
        law, first, ideal = run[0]
        if len(run) > 1:
            ideal = np.concatenate([part for _, _, part in run], axis=1)
        electric, count = law.electric, ideal.shape[1]
        codes, status = self._converter.convert(ideal, first, electric.figures, electric.status)
        return Counts(
            first, law.grid.times_us(first, count), law.grid.node_times_us(first, count), codes, status
        )

    def _work_out(self, due: int, limit: int | None) -> None:
        """Go on in whole chunks, up to the next change at most; further each time while nothing changes."""
        count = max(-(-(due - self._tip) // CHUNK), self._stride) * CHUNK
        self._stride = min(2 * self._stride, _LONGEST_STRIDE)
        if limit is not None:
            count = min(count, limit - self._tip)
        self._begin(self._state_at_tip())
        self._work = self._law.walk(self._mark_state, self._tip, count)
        self._ahead.extend(stretch.ideal for stretch in self._work)
        self._tip += count

    def _cut(self, at: int) -> None:
        """Forget what was worked out from sample `at` on."""
        if at >= self._tip:
            return
        kept = at - self._next
        self._ahead = [np.concatenate(self._ahead, axis=1)[:, :kept]] if kept else []
        self._tip = at

    def _begin(self, state: State) -> None:
        """Work goes on from here, in this state."""
        self._mark, self._mark_state, self._work = self._tip, state, []

    def _state_at_tip(self) -> State:
        """The state before the next sample to work out, from the work that led there."""
        begin = self._mark
        for stretch in self._work:
            if begin < self._tip <= begin + stretch.ideal.shape[1]:
                return stretch.after(self._tip - begin)
            begin += stretch.ideal.shape[1]
        return self._mark_state

    def _obey(self, change: _Change) -> None:
        self._stride = 1
        law, setup = self._law, change.setup
        forces = law.forces
        if change.deck is not None:
            forces = Forces.of(change.deck, self._cells, law.grid.rate_hz)
        state = law.followed_by(forces, self._state_at_tip(), self._tip, change.t_us)
        electric = law.electric if setup is None else Electric.of(setup, law.electric)
        if change.seating is not None:
            draws = change.seating.draws[list(self._cells)]
            state = replace(state, cells=electric.bank.seated(state.cells, draws, change.seating.part))
        self._begin(state)
        self._law = Law(change.grid, forces, electric, change.t_us)


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
