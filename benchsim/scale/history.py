"""The decks of the past, so that the true mass of an instant can be asked later."""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.contact import contact
from benchsim.scale.loads import Deck

Floats = NDArray[np.float64]

# How far behind the latest instant asked for the true mass can still be asked.
KEPT_US = 600_000_000
# How many forgotten decks go at once.
_LOT = 256


class History:
    """The decks of the past, each from its time on.

    What ended more than KEPT_US before the latest instant asked for is forgotten, so a session may go on
    for ever; nothing is forgotten before it is asked for.
    """

    def __init__(self, deck: Deck, start_us: int) -> None:
        self._times_us = [start_us]
        self._decks = [deck]
        self._asked_us, self._forgotten_us = start_us, -math.inf

    def __len__(self) -> int:
        """How many decks are kept."""
        return len(self._decks)

    @property
    def latest(self) -> Deck:
        return self._decks[-1]

    @property
    def latest_us(self) -> int:
        return self._times_us[-1]

    def append(self, t_us: int, deck: Deck) -> None:
        self._times_us.append(t_us)
        self._decks.append(deck)

    def _spans(self, t_us: NDArray[np.int64]) -> Iterator[tuple[slice, Deck]]:
        """The decks that held at those rising instants, each with the part of them it held for."""
        if not len(t_us):
            return
        begins_us, ends_us = int(t_us[0]), int(t_us[-1])
        if begins_us <= self._forgotten_us:
            raise ValueError(f"asked at {begins_us} us, forgotten up to {self._forgotten_us} us")
        first = max(1, bisect.bisect_left(self._times_us, begins_us))
        last = max(1, bisect.bisect_left(self._times_us, ends_us))
        edges = np.searchsorted(t_us, self._times_us[first:last], side="right").tolist()
        for number, (begin, end) in enumerate(zip([0, *edges], [*edges, len(t_us)], strict=True)):
            if begin < end:
                yield slice(begin, end), self._decks[first - 1 + number]
        self._forget(ends_us)

    def _forget(self, asked_us: int) -> None:
        self._asked_us = max(self._asked_us, asked_us)
        # In lots, so that dropping the head of a list costs nothing that counts.
        out = bisect.bisect_left(self._times_us, self._asked_us - KEPT_US) - 1
        if out >= _LOT:
            del self._times_us[:out], self._decks[:out]
            self._forgotten_us = self._times_us[0]

    def mass_kg(self, t_us: NDArray[np.int64]) -> Floats:
        """True mass on the receptor, without the dead load.  float64, (n,).  t_us: rising."""
        mass_kg = np.empty(len(t_us))
        for span, deck in self._spans(t_us):
            mass_kg[span] = deck.sums(t_us[span])[0]
        return mass_kg

    def cells_kg(self, t_us: NDArray[np.int64]) -> Floats:
        """True share of each support, no dead load, no dynamics.  float64, (n, supports).  t_us: rising."""
        cells_kg = np.empty((len(t_us), len(self.latest.receptor.supports)))
        for span, deck in self._spans(t_us):
            mass_kg, x_kg_m, y_kg_m = deck.sums(t_us[span])
            receptor, on = deck.receptor, contact(deck.receptor)
            dead = receptor.dead_load_kg
            dead_x, dead_y = dead * 0.5 * receptor.length_m, dead * 0.5 * receptor.width_m
            empty_kg = on.carried(np.array([dead]), np.array([dead_x]), np.array([dead_y]))
            whole_kg = on.carried(mass_kg + dead, x_kg_m + dead_x, y_kg_m + dead_y)
            cells_kg[span] = (whole_kg - empty_kg).T
        return cells_kg
