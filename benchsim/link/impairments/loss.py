"""Independent loss: each frame is lost with the same probability, whatever happened before."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Loss:
    """probability: of losing one frame, 0 to 1.  Mean run of losses: 1 / (1 - probability)."""

    probability: float = 0.01

    def start(self, dice: Dice) -> LossPassage:
        return LossPassage(self.probability, dice)


class LossPassage:
    __slots__ = ("_dice", "_probability")

    def __init__(self, probability: float, dice: Dice) -> None:
        self._probability, self._dice = probability, dice

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        return () if self._dice.unit() < self._probability else ((t_us, frame),)
