"""Counts of all cells to weights: whole millionths of d from here on, so that every sum is exact.

A weight of one instant is the sum over its cells.  What follows (means, spreads, zero, tare, rounding)
works on integers: no result depends on the order or the number of additions.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from benchsim.host.parts import CellSeat

PARTS_PER_D = 1_000_000
_MOST_PARTS = 1.0e13  # far above any overload limit; keeps every sum within 64 bits


class Reconstruction:
    """The coefficients of one scale.  seats: one a column, in the order of the columns."""

    def __init__(self, seats: Sequence[CellSeat], interval: Decimal) -> None:
        to_parts = PARTS_PER_D / float(interval)
        self._interval_kg = float(interval)
        self._parts_per_count = np.array([seat.kg_per_count * to_parts for seat in seats])
        self._zero_counts = np.array([seat.zero_counts for seat in seats])
        largest = (float(1 << 31) + np.abs(self._zero_counts)) * np.abs(self._parts_per_count)
        self._may_be_too_large = bool((largest > _MOST_PARTS).any())

    def parts(self, counts: NDArray[np.int32]) -> NDArray[np.int64]:
        """Counts as millionths of d, each cell's calibrated zero taken off: int64, (instants, columns)."""
        parts: NDArray[np.float64] = counts - self._zero_counts
        parts *= self._parts_per_count
        np.rint(parts, out=parts)
        if self._may_be_too_large:
            parts = np.minimum(np.maximum(parts, -_MOST_PARTS), _MOST_PARTS)
        return parts.astype(np.int64)

    def kilograms(self, summed_parts: NDArray[np.int64], count: int) -> NDArray[np.float64]:
        """Means in kg of sums over count instants, for people and plots; nothing legal comes from it."""
        return summed_parts / (float(count) * PARTS_PER_D) * self._interval_kg
