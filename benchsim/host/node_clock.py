"""One node's clock and sample counter as the host sees them, and the host instant of each sample.

A clock reading bounds the node's offset; bounds widen by the drift a clock may have and are cut by the
next reading, so the best readings lead and a bad one does no harm.  A sample belongs to the host instant
nearest to it; the assignment moves by one only when it is clearly wrong, and from a counter value on, so
that a sample sent again still finds the place it would have had.
"""

from __future__ import annotations

import bisect

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import ClockReading, Samples

DRIFT_PPM = 100  # what node clocks may be off; common practice for crystal clocks, no source
_MICRO = 1_000_000
_MOVE_AT = 750_000  # millionths of an instant: half of one, and a quarter so that noise moves nothing
_SAME_BASE = 250_000  # millionths of an instant that node time may be off its counter from frame to frame
_KEPT_SEGMENTS = 4
_CUT = 1 << 42
_ALWAYS = -(1 << 62)


class NodeClock:
    """Maps the sample counter of one node to instants of the host's grid (instant i is at i / rate_hz).

    Counters are taken from the session's first frame on, so a node may begin anywhere in 64 bits.
    starts, shifts: from counter starts[k] on, instant = counter + shifts[k].  highest: the counter of the
    newest sample.
    """

    __slots__ = (
        "_first",
        "_high_us",
        "_host_us",
        "_low_us",
        "_node_t_us",
        "_off",
        "_off_last",
        "_rate_hz",
        "highest",
        "shifts",
        "starts",
    )

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self.forget()

    def forget(self) -> None:
        """Nothing is known any more: the node has left, or is another one."""
        self._low_us = self._high_us = self._host_us = 0
        self._first = self._node_t_us = 0  # of the session's first frame
        self._off = self._off_last = 0
        self.highest = _ALWAYS
        self.starts: list[int] = []
        self.shifts: list[int] = []
        self._host_us = _ALWAYS

    @property
    def is_read(self) -> bool:
        """Whether there was a clock reading since the node began to flow."""
        return self._host_us != _ALWAYS

    @property
    def is_mapped(self) -> bool:
        return bool(self.starts)

    def fits(self, first: NDArray[np.int64], node_t_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which frames fit the session's first one; both counted from there on."""
        return _small(node_t_us * self._rate_hz - first * _MICRO)

    def follows(self, first: NDArray[np.int64], node_t_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which frames fit the one before them; the last of them is the one before the next.

        Node time may creep against the counter, as the converter of a node may have its own oscillator,
        but it does not jump within a session.
        """
        off = node_t_us * self._rate_hz - first * _MICRO
        step = off.copy()
        step[1:] -= off[:-1]
        step[0] -= self._off_last
        fitting = _small(step)
        if fitting.all():
            self._off_last = int(off[-1])
        return fitting

    def saw(self, newest: Samples | None) -> None:
        """The clock is read: how far has node time crept against the counter?

        newest: the frame before the reading; None: the last one that was asked about by follows.
        """
        off = self._off_last
        if newest is not None:
            off = (newest.node_t_us - self._node_t_us) * self._rate_hz - (newest.first - self._first) * _MICRO
        if abs(off - self._off) <= _SAME_BASE:
            self._off = off

    def begin(self, first: int, node_t_us: int) -> None:
        """The first frame of a session, the clock having been read."""
        self._first, self._node_t_us = first, node_t_us
        self._off = self._off_last = 0
        self.starts, self.shifts = [_ALWAYS], [self._nearest()]

    def read(self, reading: ClockReading) -> int | None:
        """Take a reading in.  Gives the new shift when the assignment has to move, else None."""
        offset = reading.host_t_us - reading.node_t_us
        half = reading.round_trip_us // 2 + 1
        low, high = offset - half, offset + half
        if self.is_read:
            drift = abs(reading.host_t_us - self._host_us) * DRIFT_PPM // _MICRO + 1
            low, high = max(low, self._low_us - drift), min(high, self._high_us + drift)
        stepped = low > high
        if stepped:
            low, high = offset - half, offset + half
        self._low_us, self._high_us, self._host_us = low, high, reading.host_t_us
        if not self.is_mapped:
            return None
        if stepped:
            return self._nearest()
        off = self._position() - self.shifts[-1] * _MICRO
        return self._nearest() if abs(off) > _MOVE_AT else None

    def move(self, shift: int) -> None:
        """From the next new sample on, instant = counter + shift."""
        if abs(shift - self.shifts[-1]) > 1:  # the clock was stepped: nothing before it fits any more
            self.starts, self.shifts, self.highest = [_ALWAYS], [shift], _ALWAYS
            return
        self.starts.append(self.highest + 1)
        self.shifts.append(shift)
        if len(self.starts) > _KEPT_SEGMENTS:
            del self.starts[0], self.shifts[0]
            self.starts[0] = _ALWAYS

    def since_first(
        self, first: list[int], node_t_us: list[int]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Counters and node times from the session's first frame on; what is far beyond reason is cut."""
        return _from(self._first, first), _from(self._node_t_us, node_t_us)

    def instant_of(self, counter: int) -> int:
        """The host instant of one sample, by the node's own count."""
        counter -= self._first
        return counter + self.shifts[bisect.bisect_right(self.starts, counter) - 1]

    def _position(self) -> int:
        """Where counter 0 would lie on the grid by the newest frame, in millionths of an instant."""
        return (2 * self._node_t_us + self._low_us + self._high_us) * self._rate_hz // 2 + self._off

    def _nearest(self) -> int:
        return (self._position() + _MICRO // 2) // _MICRO


def _small(off: NDArray[np.int64]) -> NDArray[np.bool_]:
    small: NDArray[np.bool_] = (off <= _SAME_BASE) & (off >= -_SAME_BASE)
    return small


def _from(origin: int, values: list[int]) -> NDArray[np.int64]:
    try:
        return np.array([v - origin for v in values], dtype=np.int64)
    except OverflowError:
        return np.array([max(-_CUT, min(_CUT, v - origin)) for v in values], dtype=np.int64)
