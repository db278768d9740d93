"""Delay with jitter.  Frames keep their order unless they may overtake each other."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from benchsim.ground.randomness import Dice

# How many of the last frames are remembered, for those that are handed over late.
_KEPT = 256


@dataclass(frozen=True, slots=True)
class Delay:
    """delay_us, and evenly spread on top of it 0 to jitter_us.  Mean: delay_us + jitter_us / 2.

    overtaking: a frame may arrive before one that was sent earlier (a routed network); else it waits for
    the one before it (a cable, a radio).
    """

    delay_us: int = 4_000
    jitter_us: int = 0
    overtaking: bool = False

    def start(self, dice: Dice) -> DelayPassage:
        return DelayPassage(self, dice)


class DelayPassage:
    """Order is that of entering, not of being handed over: what was held back enters later."""

    __slots__ = ("_delay", "_dice", "_entered", "_left")

    def __init__(self, delay: Delay, dice: Dice) -> None:
        self._delay, self._dice = delay, dice
        self._entered: list[int] = []
        self._left: list[int] = []

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        delay = self._delay
        out_us = t_us + delay.delay_us
        if delay.jitter_us:
            out_us += self._dice.below(delay.jitter_us + 1)
        if not delay.overtaking:
            out_us = self._queued(t_us, out_us)
        return ((out_us, frame),)

    def _queued(self, t_us: int, out_us: int) -> int:
        """Not before those that entered before it, and not after those that entered after it."""
        entered, left = self._entered, self._left
        if not entered or t_us >= entered[-1]:
            out_us = max(out_us, left[-1]) if left else out_us
            entered.append(t_us)
            left.append(out_us)
            if len(entered) > 2 * _KEPT:
                del entered[:_KEPT], left[:_KEPT]
            return out_us
        at = bisect_right(entered, t_us)
        out_us = min(max(out_us, left[at - 1] if at else 0), left[at])
        entered.insert(at, t_us)
        left.insert(at, out_us)
        return out_us
