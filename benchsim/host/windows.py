"""What the updates of one span can see: for each the newest full window of instants, its mean and spread.

All in whole numbers and all at once; the first update of a span sees what the last one of a longer span
would see at the same time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.host.alignment import Track
from benchsim.host.grid import NEVER_US, Grid
from benchsim.host.motion import over_windows, spread
from benchsim.host.reconstruction import Reconstruction


@dataclass(frozen=True, slots=True)
class Views:
    """One item an update.  newest: its newest whole instant, NO_INSTANT for none.

    weight: parts.  low, high: of the stretch that must be stable.  stable: spread within the band over a
    whole stretch.  kg: each column's mean, (updates, columns).
    """

    newest: NDArray[np.int64]
    weight: NDArray[np.int64]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    stable: NDArray[np.bool_]
    kg: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Widths:
    """mean, stable: instants of the moving mean and of the stretch that must be stable.  band: parts."""

    mean: int
    stable: int
    band: int


NO_INSTANT = -(1 << 40)


def look(
    grid: Grid, oldest: int, reconstruction: Reconstruction, widths: Widths, updates_us: NDArray[np.int64]
) -> Views:
    """What each update sees of the grid from the instant oldest on."""
    rows = slice(oldest - grid.start, max(grid.top, oldest) - grid.start)
    whole_us = np.where(grid.good[rows], grid.arrived_us[rows], NEVER_US).max(axis=1)
    parts = reconstruction.parts(grid.counts[rows])
    end = _newest(over_windows(np.maximum, whole_us, widths.mean), updates_us, widths.mean)
    sums = _sums(parts, end, widths.mean)
    weight = (2 * sums.sum(axis=1) + widths.mean) // (2 * widths.mean)
    seen = spread(parts.sum(axis=1), whole_us, widths.stable, end, updates_us)
    stable = seen.within(weight, widths.band)
    newest = np.where(end >= 0, end + oldest, NO_INSTANT)
    return Views(newest, weight, seen.low, seen.high, stable, reconstruction.kilograms(sums, widths.mean))


def cells_apart(
    tracks: Sequence[Track],
    oldest: int,
    reconstruction: Reconstruction,
    width: int,
    updates_us: NDArray[np.int64],
    not_before: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Each column's mean in kg by itself, for updates that have no weight: float64, (updates, columns).

    not_before: the oldest instant an update may use.  NaN for a cell whose samples are older, missing or
    not good, so that a look at the others still tells something.
    """
    grid = tracks[0].grid
    rows = slice(oldest - grid.start, max(grid.top, oldest) - grid.start)
    parts = reconstruction.parts(grid.counts[rows])
    kg = np.full((len(updates_us), parts.shape[1]), np.nan)
    for track in tracks:
        end = _newest(over_windows(np.maximum, track.arrived_us[rows], width), updates_us, width)
        means = reconstruction.kilograms(_sums(parts, end, width), width)
        fresh = (end >= 0) & (oldest + end >= not_before)
        for cell, column in zip(track.cells, range(track.columns.start, track.columns.stop), strict=True):
            good = fresh & ~_spoiled(track, cell, updates_us, oldest + end - width)
            kg[:, column] = np.where(good, means[:, column], np.nan)
    return kg


def _spoiled(
    track: Track, cell: int, updates_us: NDArray[np.int64], before: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether by each update a frame had come in which the cell was not good behind the instant before."""
    stretches = track.bad.get(cell, [])
    if not stretches:
        return np.zeros(len(updates_us), dtype=np.bool_)
    arrived_us = np.array([s.arrived_us for s in stretches], dtype=np.int64)
    last = np.maximum.accumulate(np.array([s.last_instant for s in stretches], dtype=np.int64))
    known = np.searchsorted(arrived_us, updates_us, side="right") - 1
    spoiled: NDArray[np.bool_] = (known >= 0) & (last[np.maximum(known, 0)] > before)
    return spoiled


def _newest(window_us: NDArray[np.int64], updates_us: NDArray[np.int64], width: int) -> NDArray[np.intp]:
    """Index of the last instant of the newest window that was whole at each update; -1 for none."""
    earliest_from = np.minimum.accumulate(window_us[::-1])[::-1]
    place = np.searchsorted(earliest_from, updates_us, side="right") - 1
    return np.where(place >= 0, place + width - 1, -1)


def _sums(values: NDArray[np.int64], end: NDArray[np.intp], width: int) -> NDArray[np.int64]:
    """Sums over the width instants up to each end: int64, (ends, columns); 0 where end is -1."""
    if len(values) < width:
        return np.zeros((len(end), values.shape[1]), dtype=np.int64)
    running = np.zeros((len(values) + 1, values.shape[1]), dtype=np.int64)
    np.cumsum(values, axis=0, out=running[1:])
    last = np.where(end >= 0, end + 1, width)
    return np.where((end >= 0)[:, None], running[last] - running[last - width], 0)
