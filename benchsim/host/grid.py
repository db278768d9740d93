"""The host's grid of instants: what every cell counted at each, and when each node's sample of it arrived.

Rows are instants, instant i being at i / rate_hz; a stretch of them is kept and moves on.  One column a
cell, in node order, so that a node's cells lie side by side.
"""

from __future__ import annotations

import numpy as np

NEVER_US = (1 << 62) - 1
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
