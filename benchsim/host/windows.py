"""What the updates of one span can see: for each the newest full window of instants, its mean and spread.

All in whole numbers and all at once; the first update of a span sees what the last one of a longer span
would see at the same time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from benchsim.host.alignment import Track
from benchsim.host.grid import NEVER_US
from benchsim.host.motion import over_windows, spread
from benchsim.host.reconstruction import Reconstruction


@dataclass(frozen=True, slots=True)
class Views:
    """One item an update.  newest: its newest whole instant, NO_INSTANT for none.

    weight: parts.  low, high: of the stretch that must be stable.  stable: the whole stretch lies within
    the band and does not drift, and no node has sent anything since that leaves the band.  kg: each
    column's mean, (updates, columns).
    """

    newest: NDArray[np.int64]
    weight: NDArray[np.int64]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    stable: NDArray[np.bool_]
    kg: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Widths:
    """mean, stable: instants of the moving mean and of the stretch that must be stable.

    band, settled: how far from the weight, and from half to half, that stretch may lie, in parts.
    """

    mean: int
    stable: int
    band: int
    settled: int


NO_INSTANT = -(1 << 40)


def look(
    tracks: Sequence[Track],
    oldest: int,
    reconstruction: Reconstruction,
    widths: Widths,
    updates_us: NDArray[np.int64],
) -> Views:
    """What each update sees of the grid from the instant oldest on."""
    grid = tracks[0].grid
    rows = slice(oldest - grid.start, max(grid.top, oldest) - grid.start)
    since_us = np.where(grid.good[rows], grid.arrived_us[rows], NEVER_US)
    whole_us = reduce(np.maximum, since_us.T)
    parts = reconstruction.parts(grid.counts[rows])
    end = _newest(over_windows(np.maximum, whole_us, widths.mean), updates_us, widths.mean)
    sums = _sums(parts, end, widths.mean)
    weight = (2 * sums.sum(axis=1) + widths.mean) // (2 * widths.mean)
    by_node = [reduce(np.add, parts[:, track.columns].T) for track in tracks]
    seen = spread(reduce(np.add, by_node), whole_us, widths.stable, end, updates_us)
    stable = seen.within(weight, widths.band, widths.settled)
    (at,) = np.nonzero(stable)
    any_us = reduce(np.minimum, since_us.T)
    ahead = (_newest(any_us, updates_us[at], 1) - end[at]).max(initial=0)
    if ahead > 0:
        starts = [track.columns.start for track in tracks]
        shares = np.add.reduceat(sums[at], starts, axis=1)
        after = end[at][:, None] + np.arange(1, ahead + 1)
        known = _known(since_us, after, updates_us[at])
        stable[at] = ~_leaves(known, np.stack(by_node, axis=1), after, shares, widths)
    newest = np.where(end >= 0, end + oldest, NO_INSTANT)
    return Views(newest, weight, seen.low, seen.high, stable, reconstruction.kilograms(sums, widths.mean))


def _known(
    since_us: NDArray[np.int64], instants: NDArray[np.intp], updates_us: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether each node's sample of some instants was there at each update: (updates, instants, nodes).

    since_us: since when it is, (rows, nodes).  instants: rows, (updates, instants), also beyond the last.
    """
    last = len(since_us) - 1
    known: NDArray[np.bool_] = since_us[np.minimum(instants, last)] <= updates_us[:, None, None]
    known &= (instants <= last)[:, :, None]
    return known


def _leaves(
    known: NDArray[np.bool_],
    by_node: NDArray[np.int64],
    instants: NDArray[np.intp],
    shares: NDArray[np.int64],
    widths: Widths,
) -> NDArray[np.bool_]:
    """Whether a node that is heard of after the newest whole instant leaves the band: bool, (updates,).

    known: as _known.  by_node: each node's weight, (rows, nodes).  shares: sums over widths.mean instants
    of each node's share of the weight shown, (updates, nodes).
    """
    off = by_node[np.minimum(instants, len(by_node) - 1)] * widths.mean - shares[:, None, :]
    leaves: NDArray[np.bool_] = (known & (np.abs(off) > widths.band * widths.mean)).any(axis=(1, 2))
    return leaves


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
