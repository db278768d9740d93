"""How a load happens to sit: why the same load does not give quite the same output twice.

Each cell draws once at each command that puts a load on or moves one, from a stream of its own; samples
draw nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Discharge, Remove, SiteCommand
from benchsim.ground.randomness import Noise, Streams
from benchsim.scale.loads import Deck
from benchsim.scale.parts import ScaleParts

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Seating:
    """part: of all that the receptor carries from now on, dead load included, what sits anew.

    draws: (cells of the scale,), standard normal.
    """

    part: float
    draws: Floats


class Seats:
    """The draws of a scale's cells, in order of the commands."""

    def __init__(self, streams: Streams) -> None:
        self._streams = streams
        self._noises: list[Noise] = []

    def after(self, command: SiteCommand, deck: Deck, parts: ScaleParts) -> Seating | None:
        """What a command changes, deck as it is after it; None where no load is put on, or no cell minds."""
        moved_kg = _moved_kg(command, deck)
        if moved_kg <= 0.0 or not any(cell.repeatability for cell in parts.cells):
            return None
        count = len(parts.cells)
        if not self._noises:
            self._noises = [self._streams.noise("seat", cell) for cell in range(count)]
        whole_kg = deck.receptor.dead_load_kg + sum(load.mass_kg for load in deck.loads)
        return Seating(moved_kg / whole_kg, np.array([noise.normal(1)[0] for noise in self._noises]))


def _moved_kg(command: SiteCommand, deck: Deck) -> float:
    if isinstance(command, Remove | Discharge):
        return 0.0
    return sum(load.mass_kg for load in deck.loads if load.name == command.name)
