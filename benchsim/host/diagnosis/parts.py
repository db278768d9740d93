"""What a diagnosis is given and what it gives.  Plain values; nothing here knows the truth.

A note is what a technician writes down at the scale: from when until when what stood where, and so what each
cell should have carried by the drawing.  Notes of unknown loads say None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from benchsim.host.parts import CellSeat

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Note:
    """One load as it stood, from_us to until_us.  cells_kg: due to each cell beside the dead load."""

    from_us: int
    until_us: int
    cells_kg: tuple[float, ...] | None

    @property
    def empty(self) -> bool:
        """Whether the deck is known to have been empty."""
        return self.cells_kg is not None and not any(self.cells_kg)


@dataclass(frozen=True, slots=True)
class Case:
    """What the host is set to, as far as a diagnosis needs it, and the notes of what was done.

    addresses: of all nodes expected.  beat_us: time between two beats.
    """

    seats: tuple[CellSeat, ...]
    interval: Decimal
    rate_hz: int
    addresses: tuple[int, ...]
    beat_us: int
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing that was looked at.

    word: what it came to, one of WORDS[name] or UNKNOWN.  size: how many times its limit; 1 or less is quiet.
    text: in words, with figures.
    """

    name: str
    word: str
    size: float
    text: str

    @property
    def quiet(self) -> bool:
        """Whether nothing stands out.  What could not be told does not."""
        return self.size <= 1.0


@dataclass(frozen=True, slots=True)
class Place:
    """All signs of one cell or node.  what: "cell" or "node"; number: of the cell, or address of the node."""

    what: str
    number: int
    signs: Mapping[str, Sign]

    @property
    def size(self) -> float:
        """How much it stands out, all in all: each sign by its order of magnitude."""
        return sum(
            math.sqrt(math.sqrt(min(sign.size, 1e4))) for sign in self.signs.values() if not sign.quiet
        )

    @property
    def loud(self) -> list[Sign]:
        """What stands out, most of all first."""
        return sorted((s for s in self.signs.values() if not s.quiet), key=lambda s: -s.size)


@dataclass(frozen=True, slots=True)
class Evidence:
    """A sign, and how much it speaks for a cause: natural logarithm of the odds against a healthy scale."""

    sign: Sign
    log_odds: float


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause that could be.  name: of the catalogue of faults.  target: "cell 3", "node 1", "the deck".

    log_odds: of this cause against a healthy scale, all evidence added up.  share: of all causes known.
    """

    name: str
    target: str
    log_odds: float
    share: float
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """healthy: nothing stands out.  causes: the likeliest first, none when healthy.

    places: of every cell and node, what was seen.  gaps: what the data were not enough for, in sentences.
    """

    healthy: bool
    causes: tuple[Cause, ...]
    places: tuple[Place, ...]
    gaps: tuple[str, ...]
