"""Someone who records frames and sends them again later, as they were."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Replay:
    """probability: that a frame which passes is followed by one of earlier.  after_us: how old that one is.

    The replayed frame is the youngest that is at least after_us old, and comes later_us after the frame
    that passes.  memory: how many frames are remembered.  The true frames all pass unchanged.
    """

    probability: float = 0.1
    after_us: int = 500_000
    later_us: int = 1_000
    memory: int = 256

    def start(self, dice: Dice) -> ReplayPassage:
        return ReplayPassage(self, dice)


class ReplayPassage:
    """Remembers what passed, and when."""

    __slots__ = ("_dice", "_heard", "_old", "_replay")

    def __init__(self, replay: Replay, dice: Dice) -> None:
        self._replay, self._dice = replay, dice
        self._heard: deque[tuple[int, bytes]] = deque(maxlen=replay.memory)
        self._old: bytes | None = None

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        replay, heard = self._replay, self._heard
        while heard and heard[0][0] + replay.after_us <= t_us:
            self._old = heard.popleft()[1]
        heard.append((t_us, frame))
        if self._old is None or self._dice.unit() >= replay.probability:
            return ((t_us, frame),)
        return (t_us, frame), (t_us + replay.later_us, self._old)
