"""A way that takes time for each bit: frames wait for one another, and for a transmitter to turn around.

Each direction of each node has the rate to itself: what others send does not take its time (stranger.py
has a second network on the channel).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from benchsim.ground.clock import SECOND_US
from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Rate:
    """bits_per_s: on the way.  overhead_octets: sent around each piece of a frame.  queue: places to wait.

    piece_octets: a longer frame goes in so many pieces of at most this size; 0: in one piece always.
    bits_per_octet: 8, or 10 with a start and a stop bit.  turnaround_us: from listening to sending, half
    duplex: a frame that follows another at once does not need it.  A frame that finds every place in the
    queue taken is lost; the one on its way takes no place.
    """

    bits_per_s: int = 250_000
    overhead_octets: int = 0
    queue: int = 16
    piece_octets: int = 0
    bits_per_octet: int = 8
    turnaround_us: int = 0

    def air_us(self, octets: int) -> int:
        """How long a frame of this length is on its way, whole microseconds, rounded up."""
        pieces = -(-octets // self.piece_octets) if self.piece_octets else 1
        bits = (octets + pieces * self.overhead_octets) * self.bits_per_octet
        return -(-bits * SECOND_US // self.bits_per_s)

    def utilisation(self, octets: int, frames_per_s: float) -> float:
        """Share of the time that frames of this length take, coming one by one; above 1 it cannot keep up."""
        return frames_per_s * (self.air_us(octets) + self.turnaround_us) / SECOND_US

    def start(self, dice: Dice) -> RatePassage:
        return RatePassage(self)


class RatePassage:
    """A queue with one server, first come, first served.  A frame arrives when its last bit has."""

    __slots__ = ("_free_us", "_rate", "_waiting")

    def __init__(self, rate: Rate) -> None:
        self._rate = rate
        self._free_us = -1
        self._waiting: deque[int] = deque()  # when each frame in the queue leaves it

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        rate, waiting, begin_us = self._rate, self._waiting, self._free_us
        while waiting and waiting[0] <= t_us:
            waiting.popleft()
        if begin_us < t_us:
            begin_us = t_us + rate.turnaround_us
        elif begin_us > t_us:
            if len(waiting) >= rate.queue:
                return ()
            waiting.append(begin_us)
        self._free_us = arrival_us = begin_us + rate.air_us(len(frame))
        return ((arrival_us, frame),)
