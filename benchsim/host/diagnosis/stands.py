"""Every load as it stood, in figures: what each cell read in that time, how it moved, how rough it was.

Only samples whose channel was good count, and only those after the deck has come to rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.clock import SECOND_US
from benchsim.host.diagnosis.hearing import NodeColumns
from benchsim.host.diagnosis.parts import Case

SETTLES_US = (
    1_500_000  # a deck of 6 Hz and 8 % has come to 1 part in 90 after 1.5 s; common practice, no source
)
_BEFORE_END_US = 100_000
_LEAST = 24  # samples
Figures = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stands:
    """(notes, cells) each, NaN where there was too little.

    due_kg: what the drawing says, NaN for an unknown load.  mean_kg, and doubt_kg, the deviation of it.
    late_kg: by how much the last third lies above the first.  rough_kg: deviation from sample to sample, its
    drift left out.  jumps_kg: largest step from one half second to the next, a steady slope left out;
    jump_s: when.  t_s: (notes,), the middle.  empty: bool, (notes,).
    """

    due_kg: Figures
    mean_kg: Figures
    doubt_kg: Figures
    late_kg: Figures
    rough_kg: Figures
    jumps_kg: Figures
    jump_s: Figures
    t_s: Figures
    empty: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Reading:
    """One cell's good samples of one note in kg: what other signs look at again."""

    note: int
    from_s: float
    kg: Figures
    counts: NDArray[np.int32]


def readings_of(case: Case, columns: Mapping[int, NodeColumns], cell: int) -> list[Reading]:
    """The good samples of a cell, note by note, for loads that stood."""
    seat = case.seats[cell]
    node = columns[seat.address]
    if seat.channel >= node.counts.shape[1] or not len(node.t_us):
        return []
    made = []
    for number, note in enumerate(case.notes):
        if note.cells_kg is None:  # a load that nobody knows may well have moved
            continue
        edges = [note.from_us + SETTLES_US, note.until_us - _BEFORE_END_US]
        begin, end = np.searchsorted(node.t_us, edges).tolist()
        good = node.status[begin:end, seat.channel] == 0
        counts = node.counts[begin:end, seat.channel][good]
        if len(counts) >= _LEAST:
            kg = (counts - seat.zero_counts) * seat.kg_per_count
            from_s = float(node.t_us[begin]) / SECOND_US
            made.append(Reading(number, from_s, kg, counts))
    return made


def stands_of(case: Case, readings: list[list[Reading]]) -> Stands:
    """All notes in figures.  readings: by cell."""
    shape = (len(case.notes), len(case.seats))
    mean, doubt, late, rough, jumps, jump_s = (np.full(shape, np.nan) for _ in range(6))
    due = np.full(shape, np.nan)
    for number, note in enumerate(case.notes):
        if note.cells_kg is not None:
            due[number] = note.cells_kg
    for cell, of_cell in enumerate(readings):
        for one in of_cell:
            at, kg = (one.note, cell), one.kg
            third = len(kg) // 3
            mean[at] = kg.mean()
            rough[at] = np.diff(kg, 2).std() / np.sqrt(6.0)
            doubt[at] = rough[at] * np.sqrt(3.0 / len(kg))
            late[at] = kg[-third:].mean() - kg[:third].mean()
            jumps[at], place = _jumps(kg, case.rate_hz)
            jump_s[at] = one.from_s + place
    t_s = np.array([(n.from_us + n.until_us) / 2 / SECOND_US for n in case.notes])
    empty = np.array([n.empty for n in case.notes], dtype=np.bool_)
    return Stands(due, mean, doubt, late, rough, jumps, jump_s, t_s, empty)


def _jumps(kg: Figures, rate_hz: int) -> tuple[float, float]:
    """Largest step from one half second to the next, a steady slope left out; and after how many seconds."""
    size = max(4, rate_hz // 2)
    halves = kg[: len(kg) // size * size].reshape(-1, size).mean(axis=1)
    if len(halves) < 3:
        return 0.0, 0.0
    steps = np.diff(halves)
    far = np.abs(steps - np.median(steps))
    largest = int(np.argmax(far))
    return float(far[largest]), (largest + 1) * size / rate_hz
