"""Independent bit errors: each bit of a frame is inverted with the same probability."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchsim.ground.randomness import Dice
from benchsim.link.runs import Runs


@dataclass(frozen=True, slots=True)
class BitErrors:
    """rate: probability that one bit is inverted.  A frame of L octets is hit with 1 - (1 - rate)^(8 L)."""

    rate: float = 1e-6

    def frame_error(self, octets: int) -> float:
        """Probability that a frame of this length has an error."""
        return -math.expm1(8 * octets * math.log1p(-self.rate)) if self.rate < 1 else 1.0

    def start(self, dice: Dice) -> BitErrorsPassage:
        return BitErrorsPassage(Runs(self.rate, dice))


class BitErrorsPassage:
    """Counts the good bits up to the next error, so a clean frame costs one subtraction."""

    __slots__ = ("_good", "_runs")

    def __init__(self, runs: Runs) -> None:
        self._runs = runs
        self._good = runs.next()

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        bits = 8 * len(frame)
        if self._good >= bits:
            self._good -= bits
            return ((t_us, frame),)
        octets = bytearray(frame)
        while self._good < bits:
            octets[self._good >> 3] ^= 1 << (self._good & 7)
            self._good += 1 + self._runs.next()
        self._good -= bits
        return ((t_us, bytes(octets)),)
