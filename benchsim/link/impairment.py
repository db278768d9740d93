"""What an impairment is: one frame in, any number out, each with its time.

The description is frozen and compares by value; what it remembers on the way (a burst's state, the last
arrival) lives in the passage it starts, so two directions never share it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import is_dataclass
from typing import Any, Protocol, runtime_checkable

from benchsim.ground.library import members
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


def catalogue() -> dict[str, type[Any]]:
    """Every impairment by the name of its file: "bit-errors" is the dataclass in bit_errors.py."""
    found: dict[str, type[Any]] = {}
    for folder, name, module in members("benchsim.link"):
        if folder == "impairments":
            found[name] = next(
                value
                for value in vars(module).values()
                if isinstance(value, type) and is_dataclass(value) and value.__module__ == module.__name__
            )
    return found
