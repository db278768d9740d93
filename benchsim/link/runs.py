"""How long a rare thing stays away: lengths of runs between independent events, drawn at once.

One draw a run instead of one an event, so that what hardly ever happens hardly costs anything.
"""

from __future__ import annotations

from benchsim.ground.randomness import Dice

_BITS = 62
NEVER = 1 << _BITS


class Runs:
    """Runs of good ones before a bad one, each bad with the same probability whatever came before.

    A run is at least n long with (1 - probability)^n.  The powers are made by multiplication only, so a
    run is the same on every machine (a logarithm need not be).
    """

    __slots__ = ("_dice", "_powers")

    def __init__(self, probability: float, dice: Dice) -> None:
        self._dice = dice
        power, powers = 1.0 - probability, []
        for bit in range(_BITS):
            powers.append((power, 1 << bit))
            power *= power
        self._powers = powers[::-1] if 0.0 < probability < 1.0 else []
        if probability <= 0.0:
            self._powers = [(1.0, NEVER)]

    def next(self) -> int:
        """How many good ones come before the next bad one."""
        level, length, reached = 1.0 - self._dice.unit(), 0, 1.0
        for power, count in self._powers:
            if reached * power >= level:
                reached *= power
                length += count
        return length
