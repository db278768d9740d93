"""Independent loss: each frame is lost with the same probability, whatever happened before."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice
from benchsim.link.runs import Runs


@dataclass(frozen=True, slots=True)
class Loss:
    """probability: of losing one frame, 0 to 1.  Mean run of losses: 1 / (1 - probability)."""

    probability: float = 0.01

    def start(self, dice: Dice) -> LossPassage:
        return LossPassage(Runs(self.probability, dice))


class LossPassage:
    __slots__ = ("_left", "_runs")

    def __init__(self, runs: Runs) -> None:
        self._runs = runs
        self._left = runs.next()

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        if self._left:
            self._left -= 1
            return ((t_us, frame),)
        self._left = self._runs.next()
        return ()
