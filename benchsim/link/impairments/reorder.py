"""Some frames are held back, so that those sent after them arrive first."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Reorder:
    """probability: that a frame is held back.  held_us: for how long."""

    probability: float = 0.01
    held_us: int = 150_000

    def start(self, dice: Dice) -> ReorderPassage:
        return ReorderPassage(self, dice)


class ReorderPassage:
    __slots__ = ("_dice", "_reorder")

    def __init__(self, reorder: Reorder, dice: Dice) -> None:
        self._reorder, self._dice = reorder, dice

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        held = self._dice.unit() < self._reorder.probability
        return ((t_us + self._reorder.held_us if held else t_us, frame),)
