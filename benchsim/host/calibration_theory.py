"""Coefficients without a load: from data sheets, and from one place to another by gravity.

Both are worth what their figures are worth, and say how much that is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchsim.ground.errors import BadInput

WEAKEST_GRAVITY, STRONGEST_GRAVITY = 9.7, 9.9  # m/s2: wider than any place on the ground has


@dataclass(frozen=True, slots=True)
class SheetFigures:
    """One cell's data sheet and its converter.

    rated_output_tolerance: of the rated output.  converter_tolerance: of counts_per_mv_per_v, which all
    cells are taken to share.  Both fractions, largest departures either way.
    """

    e_max_kg: float
    rated_output_mv_per_v: float
    counts_per_mv_per_v: float
    rated_output_tolerance: float = 0.0025
    converter_tolerance: float = 0.0005


@dataclass(frozen=True, slots=True)
class Theory:
    """kg_per_count: of each cell.  standard: relative standard uncertainty of a load that all cells share
    alike.  worst: the largest relative error, of a load that stands on one cell.
    """

    kg_per_count: tuple[float, ...]
    standard: float
    worst: float


def theoretical(cells: Sequence[SheetFigures]) -> Theory:
    """Coefficients from E_max, rated output and the converter's scale, and what they carry.

    k = E_max / (rated output * counts per mV/V).  Tolerances are taken as rectangular, so over root 3; those
    of N cells are independent, so that of a shared load is over root N, the converter's is not.
    Source: OIML R 60 for the terms, JCGM 100:2008 4.3.7 and 5.1.2 (memory).  Leads, dead load and the
    deck's own forces are not in it.  Raises BadInput for no cells or a figure that is not positive.
    """
    if not cells:
        raise BadInput("no cells", "give the data sheet of at least one")
    for number, cell in enumerate(cells, 1):
        figures = (cell.e_max_kg, cell.rated_output_mv_per_v, cell.counts_per_mv_per_v)
        if not all(math.isfinite(f) and f > 0.0 for f in figures):
            raise BadInput(f"cell {number}: figures {figures}", "E_max, rated output and counts above 0")
    kg_per_count = tuple(c.e_max_kg / (c.rated_output_mv_per_v * c.counts_per_mv_per_v) for c in cells)
    shared = math.sqrt(sum(c.rated_output_tolerance**2 for c in cells)) / len(cells)
    converter = max(c.converter_tolerance for c in cells)
    standard = math.hypot(shared, converter) / math.sqrt(3.0)
    worst = max(c.rated_output_tolerance + c.converter_tolerance for c in cells)
    return Theory(kg_per_count, standard, worst)


def gravity_factor(calibrated_m_per_s2: float, used_m_per_s2: float) -> float:
    """By what to multiply coefficients that were found at one place, for use at another.

    A scale that is moved shows true mass times g_use / g_cal, so it is the inverse of that.  Source: F = m g.
    Raises BadInput for what is the gravity of no place.
    """
    for gravity in (calibrated_m_per_s2, used_m_per_s2):
        if not WEAKEST_GRAVITY <= gravity <= STRONGEST_GRAVITY:
            right = f"from {WEAKEST_GRAVITY:g} to {STRONGEST_GRAVITY:g} m/s2, as on the ground"
            raise BadInput(f"a gravity of {gravity:g} m/s2", right)
    return calibrated_m_per_s2 / used_m_per_s2
