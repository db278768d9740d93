"""The seam between a test procedure and the instrument under test: what a person at a scale can do and see.

A procedure puts loads on, waits, reads the display and presses keys; it knows nothing of what is inside.
Whoever can do these five things can be verified: the built-in bench (on_bench.py), or a host whose figures
come in as bytes of a host protocol (by_lines.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from benchsim.ground.commands import InstrumentCommand


@dataclass(frozen=True, slots=True)
class Reading:
    """What the display shows.  figure_kg: net while net is True, else gross; None: no figure is shown."""

    figure_kg: Decimal | None
    motion: bool
    net: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a command.  figure_kg: what was recorded, None for every other command."""

    done: bool
    figure_kg: Decimal | None = None


class Reader(Protocol):
    """An instrument with an empty receptor at the start, and somebody who attends it."""

    @property
    def now_us(self) -> int:
        """Time, in microseconds from some start."""

    def place(self, mass_kg: float, x_m: float, y_m: float) -> int:
        """Put a load on; its number.  Raises BadInput for a place off the receptor."""

    def take_off(self, load: int) -> None:
        """Take the load of that number off."""

    def wait(self, us: int) -> None:
        """Let so many microseconds pass."""

    def read(self) -> Reading:
        """What is shown now."""

    def command(self, command: InstrumentCommand) -> Answer:
        """Zero, tare, clear the tare, or record: now, or not at all."""
