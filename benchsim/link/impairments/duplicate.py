"""The same frame twice."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Duplicate:
    """probability: that a frame arrives twice.  later_us: how long after itself."""

    probability: float = 0.01
    later_us: int = 1_000

    def start(self, dice: Dice) -> DuplicatePassage:
        return DuplicatePassage(self, dice)


class DuplicatePassage:
    __slots__ = ("_dice", "_duplicate")

    def __init__(self, duplicate: Duplicate, dice: Dice) -> None:
        self._duplicate, self._dice = duplicate, dice

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        if self._dice.unit() < self._duplicate.probability:
            return (t_us, frame), (t_us + self._duplicate.later_us, frame)
        return ((t_us, frame),)
