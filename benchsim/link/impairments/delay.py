"""Delay with jitter.  Frames keep their order unless they may overtake each other."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice


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
    __slots__ = ("_delay", "_dice", "_last_us")

    def __init__(self, delay: Delay, dice: Dice) -> None:
        self._delay, self._dice, self._last_us = delay, dice, 0

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        delay = self._delay
        out_us = t_us + delay.delay_us
        if delay.jitter_us:
            out_us += self._dice.below(delay.jitter_us + 1)
        if not delay.overtaking:
            self._last_us = out_us = max(out_us, self._last_us)
        return ((out_us, frame),)
