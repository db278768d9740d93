"""Loss in bursts: the link is good or bad, and loses frames at a rate of its own in each state.

Source: Gilbert (1960) and Elliott (1963); parameters named as in the manual page of tc-netem, but h and k
are probabilities of success, as in the papers.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice
from benchsim.link.runs import Runs


@dataclass(frozen=True, slots=True)
class Burst:
    """p: from good to bad, r: from bad to good, a frame.  h, k: success in the bad and in the good state.

    The share of bad is p / (p + r); loss = bad (1 - h) + (1 - bad) (1 - k); with h = 0 and k = 1 the mean
    run of losses is 1 / r.  It begins good.
    """

    p: float = 0.01
    r: float = 0.25
    h: float = 0.0
    k: float = 1.0

    @property
    def bad_share(self) -> float:
        """Long-run share of frames that meet the bad state."""
        return self.p / (self.p + self.r) if self.p else 0.0

    @property
    def loss(self) -> float:
        """Long-run share of frames lost."""
        return self.bad_share * (1 - self.h) + (1 - self.bad_share) * (1 - self.k)

    def start(self, dice: Dice) -> BurstPassage:
        return BurstPassage(self, dice)


class BurstPassage:
    __slots__ = ("_bad", "_burst", "_dice", "_left", "_stays")

    def __init__(self, burst: Burst, dice: Dice) -> None:
        self._burst, self._dice, self._bad = burst, dice, False
        self._stays = (Runs(burst.p, dice), Runs(burst.r, dice))
        self._left = self._stays[0].next()

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        if self._left:
            self._left -= 1
        else:
            self._bad = not self._bad
            self._left = self._stays[self._bad].next()
        success = self._burst.h if self._bad else self._burst.k
        passes = success >= 1.0 or (success > 0.0 and self._dice.unit() < success)
        return ((t_us, frame),) if passes else ()
