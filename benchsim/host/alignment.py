"""Samples of one instant from every node, or none: an instant counts only when all its samples are good.

Each node's samples are laid on the host's grid of instants with the time at which they arrived, so that
what an update may use depends on its own time and never on how often the host was asked.  The first
sample for a place stays; what comes twice changes nothing.
"""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter, itemgetter
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import ClockReading, Samples
from benchsim.host.node_clock import NodeClock

NEVER_US = (1 << 62) - 1
_AHEAD_US = 1_000_000  # how far a wrong clock may put a sample into the future before it is left out
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
    """One node's samples on the grid, from instant `start` on.

    cells, channels: cell index and node channel, side by side.  counts: int32, (instants, cells here).
    arrived_us: int64, (instants,), NEVER_US where nothing came; good: bool, the same shape.
    bad: by cell index, the frames in which it was not good.
    """

    def __init__(self, address: int, seats: Sequence[tuple[int, int]], rate_hz: int) -> None:
        self.address = address
        self.cells = tuple(cell for cell, _ in seats)
        self.channels = np.array([channel for _, channel in seats], dtype=np.intp)
        self.clock = NodeClock(rate_hz)
        self.frames: list[Samples] = []
        self.bad: dict[int, list[BadStretch]] = {}
        self._rows: list[tuple[int, int]] = [(_ALWAYS, 1)]
        self._notes: list[tuple[int, str]] = [(_ALWAYS, CLOCK_NOT_READ)]
        self._events: list[tuple[int, int, ClockReading | None]] = []
        self._held: list[Samples] = []
        self._rate_hz = rate_hz
        self.start = 0
        self.counts = np.zeros((0, len(self.cells)), dtype=np.int32)
        self.arrived_us = np.zeros(0, dtype=np.int64)
        self.good = np.zeros(0, dtype=np.bool_)

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

    def note_at(self, t_us: int) -> str:
        """What kept the node's samples from being used at that time; "" for nothing."""
        return _last(self._notes, t_us)

    def reach(self, start: int, end: int) -> None:
        """Keep the instants start to end - 1; what lies before is forgotten."""
        size = max(0, end - start)
        kept = slice(max(0, start - self.start), max(0, min(len(self.good), end - self.start)))
        offset = max(0, self.start - start)
        counts = np.zeros((size, len(self.cells)), dtype=np.int32)
        arrived = np.full(size, NEVER_US, dtype=np.int64)
        good = np.zeros(size, dtype=np.bool_)
        count = max(0, min(kept.stop - kept.start, size - offset))
        if count:
            source = slice(kept.start, kept.start + count)
            counts[offset : offset + count] = self.counts[source]
            arrived[offset : offset + count] = self.arrived_us[source]
            good[offset : offset + count] = self.good[source]
        self.start, self.counts, self.arrived_us, self.good = start, counts, arrived, good
        for cell, stretches in list(self.bad.items()):
            self.bad[cell] = [s for s in stretches if s.last_instant >= start]
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
                held, self._held = self._held, []
                self._lay(held, known_us)
            elif (shift := self.clock.read(reading)) is not None:
                self._lay(batch[begin:end])
                begin = end
                self.clock.move(shift)
        self._lay(batch[begin:])

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
            self._held = (self._held + frames)[-_HELD_FRAMES:]
            return
        if not self.clock.is_mapped:
            self.clock.begin(frames[0].first, frames[0].node_t_us)
        begin = 0
        shape = (frames[0].rows, frames[0].channels)
        for number, frame in enumerate(frames):
            if (frame.rows, frame.channels) != shape:
                self._lay_run(frames[begin:number], not_before_us)
                begin, shape = number, (frame.rows, frame.channels)
        self._lay_run(frames[begin:], not_before_us)

    def _lay_run(self, frames: list[Samples], not_before_us: int) -> None:
        """Frames of one shape."""
        if self.clock.base is None:  # a run before this one ended the session
            self._held = (self._held + frames)[-_HELD_FRAMES:]
            return
        rows, channels = frames[0].rows, frames[0].channels
        first = np.array([f.first for f in frames], dtype=np.int64)
        node_t_us = np.array([f.node_t_us for f in frames], dtype=np.int64)
        base = node_t_us * self._rate_hz - first * 1_000_000
        strange = np.abs(base - self.clock.base) > 250_000
        if strange.any():
            good = int(strange.argmax())
            rest = frames[good:]
            if good:
                self._lay_run(frames[:good], not_before_us)
            self.clock.forget()
            self._note(rest[0].arrived_us, "its clock does not fit its sample counter")
            self._held = (self._held + rest)[-_HELD_FRAMES:]
            return
        arrived = np.maximum(np.array([f.arrived_us for f in frames], dtype=np.int64), not_before_us)
        if self._rows[-1][1] != rows:
            self._rows = [*self._rows[-_KEPT_NOTES:], (int(arrived[0]), rows)]
        needed = int(self.channels.max()) + 1
        short = f"{channels} channels where {needed} are needed" if channels < needed else ""
        self._note(int(arrived[0]), short)
        if short:
            return
        counts = np.frombuffer(b"".join([f.octets for f in frames]), dtype="<i4").reshape(-1, channels)
        counters = (first[:, None] + np.arange(rows)).reshape(-1)
        good_rows = self._good_rows(frames, arrived, rows, channels)
        self._write(counters, counts[:, self.channels], np.repeat(arrived, rows), good_rows)
        self.clock.highest = max(self.clock.highest, int(counters.max()))

    def _note(self, since_us: int, text: str) -> None:
        if self._notes[-1][1] != text:
            self._notes = [*self._notes[-_KEPT_NOTES:], (since_us, text)]

    def _good_rows(
        self, frames: list[Samples], arrived: NDArray[np.int64], rows: int, channels: int
    ) -> NDArray[np.bool_]:
        joined = b"".join([f.status for f in frames])
        if not joined.strip(b"\0"):
            return np.ones(len(frames) * rows, dtype=np.bool_)
        status = np.frombuffer(joined, dtype=np.uint8).reshape(-1, channels)[:, self.channels]
        for frame, place in zip(*np.nonzero(status), strict=True):
            last = self.clock.instant_of(frames[frame].first + rows - 1)
            stretch = BadStretch(int(arrived[frame]), last, int(status[frame, place]))
            self.bad.setdefault(self.cells[place], []).append(stretch)
        return np.repeat(~status.any(axis=1), rows)

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
            # Where the node fell behind by one, its last sample before stands for the instant without one.
            for before, start in enumerate(starts[1:]):
                if shifts[before + 1] == shifts[before] + 1:
                    (again,) = np.nonzero(counters == start - 1)
                    instants = np.concatenate([instants, counters[again] + shifts[before + 1]])
                    counts = np.concatenate([counts, counts[again]])
                    arrived = np.concatenate([arrived, arrived[again]])
                    good = np.concatenate([good, good[again]])
        latest = (arrived + _AHEAD_US) * self._rate_hz // 1_000_000 - self.start
        index = instants - self.start
        fits = (index >= 0) & (index < len(self.good)) & (index <= latest)
        if not fits.all():
            index, counts, arrived, good = index[fits], counts[fits], arrived[fits], good[fits]
        free = self.arrived_us[index] == NEVER_US
        if not free.all():
            index, counts, arrived, good = index[free], counts[free], arrived[free], good[free]
        if len(index) > 1 and not (np.diff(index) > 0).all():
            index, once = np.unique(index, return_index=True)
            counts, arrived, good = counts[once], arrived[once], good[once]
        self.counts[index] = counts
        self.arrived_us[index] = arrived
        self.good[index] = good
