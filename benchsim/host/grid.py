"""The host's grid of instants: what every cell counted at each, and when each node's sample of it arrived.

Rows are instants, instant i being at i / rate_hz; a stretch of them is kept and moves on.  One column a
cell, in node order, so that a node's cells lie side by side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

NEVER_US = (1 << 62) - 1
AHEAD_US = 1_000_000  # how far a wrong clock may put a sample into the future before it is left out
_SPARE = 2  # rows are kept for so many times what is asked for, to move them seldom


class Grid:
    """start: the instant of row 0.  top: one past the last instant that anything was written to.

    counts: int32, (rows, columns).  arrived_us: int64, (rows, nodes), NEVER_US where nothing came.
    good: bool, (rows, nodes), a sample came and none of its channels was bad.
    """

    __slots__ = ("arrived_us", "counts", "good", "start", "top")

    def __init__(self, columns: int, nodes: int) -> None:
        self.start = self.top = 0
        self.counts = np.zeros((0, columns), dtype=np.int32)
        self.arrived_us = np.zeros((0, nodes), dtype=np.int64)
        self.good = np.zeros((0, nodes), dtype=np.bool_)

    @property
    def end(self) -> int:
        return self.start + len(self.good)

    def reach(self, oldest: int, end: int) -> None:
        """Have rows for the instants oldest to end - 1; what lies before oldest may be forgotten."""
        if self.start <= oldest and end <= self.end:
            return
        rows = _SPARE * (end - oldest)
        counts = np.zeros((rows, self.counts.shape[1]), dtype=np.int32)
        arrived_us = np.full((rows, self.good.shape[1]), NEVER_US, dtype=np.int64)
        good = np.zeros((rows, self.good.shape[1]), dtype=np.bool_)
        first, last = max(oldest, self.start), min(self.top, oldest + rows)
        if first < last:
            old, new = slice(first - self.start, last - self.start), slice(first - oldest, last - oldest)
            counts[new], arrived_us[new], good[new] = self.counts[old], self.arrived_us[old], self.good[old]
        self.start, self.top = oldest, max(last, oldest)
        self.counts, self.arrived_us, self.good = counts, arrived_us, good

    def put(
        self,
        node: int,
        columns: slice,
        instants: NDArray[np.int64],
        counts: NDArray[np.int32],
        arrived_us: NDArray[np.int64],
        good: NDArray[np.bool_],
    ) -> int:
        """One node's samples to their instants; the first that comes for an instant stays.

        What has no row is left out.  Gives one past the last instant written to, or start for none.
        """
        index = instants - self.start
        free = (index >= 0) & (index < len(self.good))
        free[free] = self.arrived_us[index[free], node] == NEVER_US
        if not free.all():
            index, counts, arrived_us, good = index[free], counts[free], arrived_us[free], good[free]
        if not len(index):
            return self.start
        if not (np.diff(index) > 0).all():
            index, once = np.unique(index, return_index=True)
            counts, arrived_us, good = counts[once], arrived_us[once], good[once]
        self.counts[index, columns] = counts
        self.arrived_us[index, node] = arrived_us
        self.good[index, node] = good
        end = self.start + int(index[-1]) + 1
        self.top = max(self.top, end)
        return end

    def repeat(self, node: int, columns: slice, instant: int, known_us: int) -> int:
        """Let the node's sample of an instant stand for the next one too, from known_us on; as put."""
        row = instant - self.start
        if not 0 <= row < len(self.good) or self.arrived_us[row, node] == NEVER_US:
            return self.start
        one = slice(row, row + 1)
        arrived_us = np.maximum(self.arrived_us[one, node], known_us)
        next_one = np.array([instant + 1], dtype=np.int64)
        return self.put(node, columns, next_one, self.counts[one, columns], arrived_us, self.good[one, node])
