"""What an impairment is: one frame in, any number out, each with its time.

The description is frozen and compares by value; what it remembers on the way (a burst's state, the last
arrival) lives in the passage it starts, so two directions never share it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from benchsim.ground.randomness import Dice


class Passage(Protocol):
    """An impairment at work on one direction of one link."""

    def carry(self, frame: bytes, t_us: int) -> Sequence[tuple[int, bytes]]:
        """What becomes of a frame that enters at t_us: none, one or several (arrival time, frame)."""
        ...


@runtime_checkable
class Impairment(Protocol):
    """The description of one impairment."""

    def start(self, dice: Dice) -> Passage:
        """Begin; every random choice comes from the dice."""
        ...
