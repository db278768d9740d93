"""Counts of all cells to weights: whole millionths of d from here on, so that every sum is exact.

A weight of one instant is the sum over the cells, in cell order.  What follows (means, spreads, zero,
tare, rounding) works on integers: no result depends on the order or the number of additions.
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
    """The coefficients of one scale."""

    def __init__(self, seats: Sequence[CellSeat], interval: Decimal) -> None:
        to_parts = PARTS_PER_D / float(interval)
        self._interval_kg = float(interval)
        self._parts_per_count = [seat.kg_per_count * to_parts for seat in seats]
        self._zero_counts = [seat.zero_counts for seat in seats]

    def cell_parts(self, cell: int, counts: NDArray[np.int32]) -> NDArray[np.int64]:
        """One cell's counts as millionths of d, its calibrated zero taken off.  int64, as counts."""
        parts = (counts - self._zero_counts[cell]) * self._parts_per_count[cell]
        rounded: NDArray[np.float64] = np.rint(np.minimum(np.maximum(parts, -_MOST_PARTS), _MOST_PARTS))
        return rounded.astype(np.int64)

    def kilograms(self, summed_parts: NDArray[np.int64], count: int) -> NDArray[np.float64]:
        """Means in kg of sums over count instants, for people and plots; nothing legal comes from it."""
        return summed_parts / (float(count) * PARTS_PER_D) * self._interval_kg
