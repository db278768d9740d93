"""All that the signs look at: the notes in figures, each cell's answer to load, and the way of its zero.

The answer is the slope of what a cell read over what was due to it, each load measured from the zero around
it, so that a zero that wanders does not bend it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from benchsim.host.diagnosis.hearing import Hearing
from benchsim.host.diagnosis.parts import Case
from benchsim.host.diagnosis.stands import Figures, Reading, Stands, readings_of, stands_of

_LEAST_LOAD_D = 20.0  # a change of load smaller than that tells nothing of a span


@dataclass
class Looks:
    """Everything of one visit."""

    case: Case
    hearing: Hearing

    @property
    def d_kg(self) -> float:
        return float(self.case.interval)

    @cached_property
    def readings(self) -> list[list[Reading]]:
        """By cell, what was good of it, note by note."""
        return [readings_of(self.case, self.hearing.nodes, cell) for cell in range(len(self.case.seats))]

    @cached_property
    def stands(self) -> Stands:
        return stands_of(self.case, self.readings)

    @cached_property
    def dead_kg(self) -> Figures:
        """What each cell carries of the dead load by the host's settings."""
        return np.array([seat.zero_counts * seat.kg_per_count for seat in self.case.seats])

    @cached_property
    def zero_kg(self) -> Figures:
        """(notes, cells): the zero at the time of each note, from the empty decks around it; NaN without."""
        stands = self.stands
        made = np.full_like(stands.mean_kg, np.nan)
        for cell in range(len(self.case.seats)):
            has = stands.empty & np.isfinite(stands.mean_kg[:, cell])
            if has.any():
                made[:, cell] = np.interp(stands.t_s, stands.t_s[has], stands.mean_kg[has, cell])
        return made

    @cached_property
    def added_kg(self) -> Figures:
        """(notes, cells): what each cell read above its zero."""
        return self.stands.mean_kg - self.zero_kg

    @cached_property
    def most_kg(self) -> Figures:
        """(cells,): the largest load due to each cell in any note that it could be read in."""
        due = np.where(np.isfinite(self.added_kg), np.abs(self.stands.due_kg), 0.0)
        most: Figures = np.nan_to_num(due).max(axis=0, initial=0.0)
        return most

    @cached_property
    def answer(self) -> Figures:
        """(cells,): what part of a load each cell shows, 1 when all is well; NaN where nobody can tell."""
        due, added = self.stands.due_kg, self.added_kg
        known = np.isfinite(due) & np.isfinite(added)
        x, y = np.where(known, due, 0.0), np.where(known, added, 0.0)
        power = (x * x).sum(axis=0)
        enough = self.most_kg >= _LEAST_LOAD_D * self.d_kg
        made: Figures = np.full(power.shape, np.nan)
        made[enough] = (x * y).sum(axis=0)[enough] / power[enough]
        return made

    @cached_property
    def off_kg(self) -> Figures:
        """(notes, cells): what is left of each load when the cell's own answer is taken out."""
        left: Figures = self.added_kg - self.answer * self.stands.due_kg
        return left

    def cells_of(self, address: int) -> list[int]:
        """Indices of a node's cells."""
        return [c for c, seat in enumerate(self.case.seats) if seat.address == address]

    @property
    def load_changed(self) -> bool:
        """Whether any cell saw a known load come or go."""
        return bool(np.isfinite(self.answer).any())
