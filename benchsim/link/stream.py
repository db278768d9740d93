"""A node's flow: samples to data frames, each ready ahead and sent when its last sample is complete.

Frames begin at whole multiples of k, so both ends know a frame by its first sample.
"""

from __future__ import annotations

from collections import deque

from benchsim.ground.readings import Counts
from benchsim.link import batch, data
from benchsim.link.frames import Kind
from benchsim.link.limits import REPEAT_SPACING_US, SEQUENCE_LAST
from benchsim.link.session import Session
from benchsim.link.store import Store

NEVER_US = 1 << 62


class Stream:
    """What a node holds and sends.  running: frames are due only while it is True."""

    def __init__(self, channels: int, reach: int) -> None:
        self.store = Store(channels, reach)
        self.k = 1
        self.running = False
        self.sent = self.repeated = 0
        self._session: Session | None = None
        self._built: deque[bytes] = deque()
        self._due_us: deque[int] = deque()
        self._unbuilt = 0
        self._lacking: deque[tuple[int, int]] = deque()
        self._repeat_us = 0

    @property
    def next_sample(self) -> int:
        """The first sample not sent yet."""
        return self._unbuilt - len(self._built) * self.k

    def boundary(self, now_us: int, k: int) -> int:
        """The first sample of the first whole frame that is not complete yet."""
        return -(-self.store.first_after(now_us) // k) * k

    def begin(self, session: Session, k: int, next_sample: int) -> None:
        """Let the flow begin, or go on, at a frame's boundary."""
        self.stop()
        self._session, self.k, self._unbuilt, self.running = session, k, next_sample, True

    def stop(self) -> None:
        """Send nothing more; frames made ahead are unmade."""
        if self._session is not None:
            self._session.data_sequence -= len(self._built)
        self._unbuilt = self.next_sample
        self._built.clear()
        self._due_us.clear()
        self._lacking.clear()
        self.running = False

    def feed(self, block: Counts) -> None:
        """Take samples; what was sent and is out of reach is let go."""
        store = self.store
        store.feed(block, min(self.next_sample, block.first) if self.running else block.first)
        if self.running and self.next_sample < store.first:  # samples in between were never taken
            session, k = self._session, self.k
            assert session is not None
            self.begin(session, k, -(-store.first // k) * k)

    def lacking(self, ranges: tuple[tuple[int, int], ...], now_us: int) -> list[tuple[int, int]]:
        """What the host lacks, (first, count), in place of what it said before.  Gives what is gone.

        What is not complete yet is left out: the host will ask again.
        """
        gone: list[tuple[int, int]] = []
        sent = min(self.next_sample, self.store.first_after(now_us))
        oldest = max(self.store.first, sent - self.store.reach)
        self._lacking.clear()
        for first, count in ranges:
            end = first + count
            if first < oldest:
                gone.append((first, min(end, oldest) - first))
            if max(first, oldest) < min(end, sent):
                self._lacking.append((max(first, oldest), min(end, sent)))
        return gone

    def due(self, now_us: int, out: list[bytes]) -> None:
        """Add the frames that are due."""
        due_us = self._due_us
        if not due_us:
            self._build()
        while due_us and due_us[0] <= now_us:
            due_us.popleft()
            out.append(self._built.popleft())
            self.sent += 1
        if self._lacking and now_us >= self._repeat_us:
            self._repeat(now_us, out)

    def wake_us(self) -> int:
        """When the next frame is due."""
        if not self.running:
            return NEVER_US
        if self._due_us:
            wake_us = self._due_us[0]
        elif self._unbuilt + self.k <= self.store.end and not self._spent:
            wake_us = self.store.time_us(self._unbuilt + self.k - 1)
        else:
            wake_us = NEVER_US
        return min(wake_us, self._repeat_us) if self._lacking else wake_us

    @property
    def _spent(self) -> bool:
        """Whether the data lane has no number left."""
        return self._session is None or self._session.data_sequence > SEQUENCE_LAST

    def _build(self) -> None:
        """Make all the frames that the fed samples allow."""
        store, k, session = self.store, self.k, self._session
        assert session is not None
        first = self._unbuilt
        ready = min((store.end - first) // k, SEQUENCE_LAST + 1 - session.data_sequence)
        if ready > 0:
            times, frames = batch.build(session, store, first, ready, k)
            self._due_us.extend(times)
            self._built.extend(frames)
            session.data_sequence += ready
            self._unbuilt = first + ready * k

    def _repeat(self, now_us: int, out: list[bytes]) -> None:
        """One frame of what the host lacks, then a pause for the others on the medium."""
        session = self._session
        assert session is not None
        if session.spent:
            self._lacking.clear()
            return
        first, end = self._lacking.popleft()
        rows = min(self.k, end - first)
        if first + rows < end:
            self._lacking.appendleft((first + rows, end))
        if first >= self.store.first:
            cut = self.store.rows(first, first + rows)
            out.append(data.make(session, Kind.REPEAT, session.sequence, first, cut, rows))
            session.sequence += 1
            self.repeated += 1
        self._repeat_us = now_us + REPEAT_SPACING_US
