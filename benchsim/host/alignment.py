"""Samples of one instant from every node, or none: an instant counts only when all its samples are good.

Each node's samples are laid on the host's grid of instants with the time at which they arrived, so that
what an update may use depends on its own time and never on how often the host was asked.  The first
sample for a place stays; what comes twice changes nothing.
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter, itemgetter
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import ClockReading, Samples
from benchsim.host.grid import AHEAD_US, Grid
from benchsim.host.node_clock import NodeClock

_HELD_FRAMES = 2_000
_KEPT_NOTES = 500
_ALWAYS = -(1 << 62)
CLOCK_NOT_READ = "clock not read yet"
_arrived = attrgetter("arrived_us")
_Said = TypeVar("_Said")


def _last(said: list[tuple[int, _Said]], t_us: int) -> _Said:
    """What was said last at or before a time."""
    return said[max(0, bisect.bisect_right(said, t_us, key=itemgetter(0)) - 1)][1]


@dataclass(slots=True)
class BadStretch:
    """A frame in which a channel was not good: until which instant, known since when, and what it said."""

    arrived_us: int
    last_instant: int
    status: int


class Track:
    """One node's samples on the grid.

    number: which node of the grid; cells, channels: cell index and node channel, side by side.
    columns: of the grid, where its cells are.  bad: by cell index, the frames in which it was not good.
    """

    def __init__(
        self,
        grid: Grid,
        number: int,
        address: int,
        seats: Sequence[tuple[int, int]],
        column: int,
        rate_hz: int,
    ) -> None:
        self.grid, self.number, self.address = grid, number, address
        self.cells = tuple(cell for cell, _ in seats)
        self.columns = slice(column, column + len(seats))
        self.clock = NodeClock(rate_hz)
        self.frames: list[Samples] = []
        self.bad: dict[int, list[BadStretch]] = {}
        self.channels = tuple(channel for _, channel in seats)
        self._channels = np.array(self.channels, dtype=np.intp)
        self._channels_needed = int(self._channels.max()) + 1
        self._rows: list[tuple[int, int]] = [(_ALWAYS, 1)]
        self._notes: list[tuple[int, str]] = [(_ALWAYS, CLOCK_NOT_READ)]
        self._events: list[tuple[int, int, ClockReading | None]] = []
        self._held: list[Samples] = []
        self._rate_hz = rate_hz
        self._untouched = _ALWAYS

    def reseat(self, cells: Sequence[int]) -> None:
        """Other cells on the same channels, as the host has come to believe."""
        if tuple(cells) != self.cells:
            self.cells = tuple(cells)
            self.bad.clear()

    @property
    def arrived_us(self) -> NDArray[np.int64]:
        """When each sample of the grid's rows arrived: int64, (rows,), NEVER_US where none did."""
        return self.grid.arrived_us[:, self.number]

    def left(self, t_us: int) -> None:
        """The node does not flow any more; what is known of its clock ends here."""
        self._events.append((t_us, 0, None))

    def read(self, reading: ClockReading) -> None:
        """A clock reading counts from when its answer was in."""
        known_us = reading.host_t_us + (reading.round_trip_us + 1) // 2
        self._events.append((known_us, 1, reading))

    def rows_at(self, t_us: int) -> int:
        """How many samples the node's frames held at that time."""
        return _last(self._rows, t_us)

    def rows_since(self, t_us: int) -> int | None:
        """The same for all times from t_us on; None when it changed in between."""
        since_us, rows = self._rows[-1]
        return rows if since_us <= t_us else None

    def note_at(self, t_us: int) -> str:
        """What kept the node's samples from being used at that time; "" for nothing."""
        return _last(self._notes, t_us)

    def forget_bad(self, oldest: int) -> None:
        """Nobody will ask any more for what lies before the instant oldest."""
        for cell, stretches in list(self.bad.items()):
            self.bad[cell] = [s for s in stretches if s.last_instant >= oldest]
            if not self.bad[cell]:
                del self.bad[cell]

    def absorb(self, until_us: int) -> None:
        """Lay down all that arrived up to until_us, in order."""
        cut = bisect.bisect_right(self.frames, until_us, key=_arrived)
        batch = self.frames[:cut]
        del self.frames[:cut]
        begin = 0
        for known_us, reading in self._due_events(until_us):
            end = bisect.bisect_left(batch, known_us, lo=begin, key=_arrived)
            if reading is None:
                self._lay(batch[begin:end])
                begin = end
                self.clock.forget()
                self._held.clear()
                self._note(known_us, CLOCK_NOT_READ)
            elif not self.clock.is_mapped:
                self._lay(batch[begin:end])
                begin = end
                self.clock.read(reading)
                self._note(known_us, "")
                self._lay_held(known_us)
            else:
                self.clock.saw(batch[end - 1] if end > begin else None)
                if (shift := self.clock.read(reading)) is not None:
                    self._lay(batch[begin:end])
                    begin = end
                    self._move(shift, known_us)
        self._lay(batch[begin:])

    def _move(self, shift: int, known_us: int) -> None:
        """New samples go elsewhere from now; one instant that is left out gets the last one."""
        before = self.clock.shifts[-1]
        self.clock.move(shift)
        if shift == before + 1:
            end = self.grid.repeat(self.number, self.columns, self.clock.highest + before, known_us)
            self._untouched = max(self._untouched, end)

    def _due_events(self, until_us: int) -> list[tuple[int, ClockReading | None]]:
        if not self._events:
            return []
        due = sorted((e for e in self._events if e[0] <= until_us), key=lambda e: e[:2])
        self._events = [e for e in self._events if e[0] > until_us]
        return [(known_us, reading) for known_us, _, reading in due]

    def _lay(self, frames: list[Samples], not_before_us: int = 0) -> None:
        """Frames of one mapping, split into runs of one shape."""
        if not frames:
            return
        if not self.clock.is_read:
            self._hold(frames)
            return
        if not self.clock.is_mapped:
            self.clock.begin(frames[0].first, frames[0].node_t_us)
        for run in _runs(frames):
            self._lay_run(run, not_before_us)

    def _lay_held(self, known_us: int) -> None:
        """The clock was read: of the frames that waited, all that fit the newest one count from now."""
        held, self._held = self._held, []
        if not held:
            return
        self.clock.begin(held[-1].first, held[-1].node_t_us)
        fits = self.clock.fits(*self.clock.since_first([f.first for f in held], [f.node_t_us for f in held]))
        self._lay([frame for frame, good in zip(held, fits.tolist(), strict=True) if good], known_us)

    def _hold(self, frames: list[Samples]) -> None:
        """Frames that cannot be placed until the clock was read."""
        self._held = (self._held + frames)[-_HELD_FRAMES:]

    def _lay_run(self, frames: list[Samples], not_before_us: int) -> None:
        """Frames of one shape."""
        if not self.clock.is_mapped:  # a run before this one ended the session
            self._hold(frames)
            return
        first, node_t_us = self.clock.since_first([f.first for f in frames], [f.node_t_us for f in frames])
        fits = self.clock.follows(first, node_t_us)
        if not fits.all():
            self._end_session(frames, int(fits.argmin()), not_before_us)
            return
        rows, channels = frames[0].rows, frames[0].channels
        arrived_us = np.array([f.arrived_us for f in frames], dtype=np.int64)
        if not_before_us:
            arrived_us = np.maximum(arrived_us, not_before_us)
        since_us, short = int(arrived_us[0]), ""
        if self._rows[-1][1] != rows:
            self._rows = [*self._rows[-_KEPT_NOTES:], (since_us, rows)]
        if channels < self._channels_needed:
            short = f"{channels} channels where {self._channels_needed} are needed"
        self._note(since_us, short)
        if short:
            return
        counts = np.frombuffer(b"".join([f.octets for f in frames]), dtype="<i4").reshape(-1, channels)
        if channels != len(self.cells) or channels != self._channels_needed:
            counts = counts[:, self._channels]
        good = self._good_frames(frames, arrived_us, channels)
        if not self._write_in_a_row(first, rows, counts, arrived_us, good):
            counters = (first[:, None] + np.arange(rows)).reshape(-1)
            good_rows = np.ones(len(counters), dtype=np.bool_) if good is None else np.repeat(good, rows)
            self._write(counters, counts, np.repeat(arrived_us, rows), good_rows)
        self.clock.highest = max(self.clock.highest, int(first.max()) + rows - 1)

    def _end_session(self, frames: list[Samples], place: int, not_before_us: int) -> None:
        """The frame at place comes from another count or another clock: nothing is known from there on."""
        if place:
            self._lay_run(frames[:place], not_before_us)
        self.clock.forget()
        self._note(max(frames[place].arrived_us, not_before_us), "its clock does not fit its sample counter")
        self._hold(frames[place:])

    def _note(self, since_us: int, text: str) -> None:
        if self._notes[-1][1] != text:
            self._notes = [*self._notes[-_KEPT_NOTES:], (since_us, text)]

    def _good_frames(
        self, frames: list[Samples], arrived_us: NDArray[np.int64], channels: int
    ) -> NDArray[np.bool_] | None:
        """Which frames have no bad channel that carries a cell; None when all have not."""
        joined = b"".join([f.status for f in frames])
        if not joined.strip(b"\0"):
            return None
        status = np.frombuffer(joined, dtype=np.uint8).reshape(-1, channels)[:, self._channels]
        for frame, place in zip(*np.nonzero(status), strict=True):
            last = self.clock.instant_of(frames[frame].first + frames[frame].rows - 1)
            stretch = BadStretch(int(arrived_us[frame]), last, int(status[frame, place]))
            self.bad.setdefault(self.cells[place], []).append(stretch)
        good: NDArray[np.bool_] = (status == 0).all(axis=1)
        return good

    def _write_in_a_row(
        self,
        first: NDArray[np.int64],
        rows: int,
        counts: NDArray[np.int32],
        arrived_us: NDArray[np.int64],
        good: NDArray[np.bool_] | None,
    ) -> bool:
        """The usual case, frames without a gap on rows nothing was written to yet.  False: not that case."""
        if len(first) > 1 and ((first[1:] - first[:-1]) != rows).any():
            return False
        if int(first[0]) < self.clock.starts[-1]:
            return False
        shift = self.clock.shifts[-1]
        begin = int(first[0]) + shift
        end = begin + len(counts)
        grid = self.grid
        if begin < self._untouched or begin < grid.start or end > grid.end:
            return False
        latest = (arrived_us + AHEAD_US) * self._rate_hz // 1_000_000
        if (first + (shift + rows - 1) > latest).any():
            return False
        at = slice(begin - grid.start, end - grid.start)
        grid.counts[at, self.columns] = counts
        grid.arrived_us[at, self.number].reshape(-1, rows)[:] = arrived_us[:, None]
        grid.good[at, self.number] = True if good is None else np.repeat(good, rows)
        self._untouched = end
        grid.top = max(grid.top, end)
        return True

    def _write(
        self,
        counters: NDArray[np.int64],
        counts: NDArray[np.int32],
        arrived: NDArray[np.int64],
        good: NDArray[np.bool_],
    ) -> None:
        """Each sample to its instant, the first that comes for an instant stays."""
        starts, shifts = self.clock.starts, self.clock.shifts
        if len(starts) == 1:
            instants = counters + shifts[0]
        else:
            segment = np.searchsorted(np.array(starts), counters, side="right") - 1
            instants = counters + np.array(shifts)[segment]
            # A last sample before a slip that comes only now stands in for the instant without one, too.
            for before, start in enumerate(starts[1:]):
                if shifts[before + 1] == shifts[before] + 1:
                    (again,) = np.nonzero(counters == start - 1)
                    instants = np.concatenate([instants, counters[again] + shifts[before + 1]])
                    counts = np.concatenate([counts, counts[again]])
                    arrived = np.concatenate([arrived, arrived[again]])
                    good = np.concatenate([good, good[again]])
        latest = (arrived + AHEAD_US) * self._rate_hz // 1_000_000
        fits = instants <= latest
        if not fits.all():
            instants, counts, arrived, good = instants[fits], counts[fits], arrived[fits], good[fits]
        end = self.grid.put(self.number, self.columns, instants, counts, arrived, good)
        self._untouched = max(self._untouched, end)


def _runs(frames: list[Samples]) -> list[list[Samples]]:
    """Frames split where their shape changes; mostly it does not."""
    if len({(f.rows, f.channels) for f in frames}) == 1:
        return [frames]
    return [list(run) for _, run in itertools.groupby(frames, key=lambda f: (f.rows, f.channels))]
