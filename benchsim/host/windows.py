"""What the updates of one span can see: for each the newest full window of instants, its mean and spread.

All in whole numbers and all at once; the first update of a span sees what the last one of a longer span
would see at the same time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.host.alignment import NEVER_US, Track
from benchsim.host.motion import over_windows, spread
from benchsim.host.reconstruction import Reconstruction


@dataclass(frozen=True, slots=True)
class Views:
    """One item an update.  end: index from `start` of its newest whole instant, -1 for none.

    weight: parts.  low, high: of the stretch that must be stable.  stable: spread within the band over a
    whole stretch.  cells_kg: (updates, cells).
    """

    start: int
    end: NDArray[np.intp]
    weight: NDArray[np.int64]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    stable: NDArray[np.bool_]
    cells_kg: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Widths:
    """mean, stable: instants of the moving mean and of the stretch that must be stable.  band: parts."""

    mean: int
    stable: int
    band: int


def look(
    tracks: Sequence[Track], reconstruction: Reconstruction, widths: Widths, updates_us: NDArray[np.int64]
) -> Views:
    """What each update sees of the tracks, which all stand on the same instants."""
    whole_us = _whole_since(tracks)
    cells = np.zeros((sum(len(t.cells) for t in tracks), len(whole_us)), dtype=np.int64)
    for track in tracks:
        for place, cell in enumerate(track.cells):
            cells[cell] = reconstruction.cell_parts(cell, track.counts[:, place])
    weights = cells[0].copy()
    for row in cells[1:]:
        weights += row
    end = _newest(over_windows(np.maximum, whole_us, widths.mean), updates_us, widths.mean)
    weight = _means(_sums(weights, end, widths.mean), widths.mean)
    seen = spread(weights, whole_us, widths.stable, end, updates_us)
    stable = seen.within(weight, widths.band)
    cells_kg = reconstruction.kilograms(_sums(cells, end, widths.mean), widths.mean)
    return Views(tracks[0].start, end, weight, seen.low, seen.high, stable, cells_kg.T)


def cells_apart(
    tracks: Sequence[Track],
    reconstruction: Reconstruction,
    width: int,
    updates_us: NDArray[np.int64],
    not_before: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Each cell's mean in kg by itself, for updates that have no weight: float64, (updates, cells).

    not_before: the oldest instant an update may use.  NaN for a cell whose samples are older, missing or
    not good, so that a look at the others still tells something.
    """
    kg = np.full((len(updates_us), sum(len(t.cells) for t in tracks)), np.nan)
    for track in tracks:
        end = _newest(over_windows(np.maximum, track.arrived_us, width), updates_us, width)
        fresh = (end >= 0) & (track.start + end >= not_before)
        for place, cell in enumerate(track.cells):
            parts = reconstruction.cell_parts(cell, track.counts[:, place])
            mean_kg = reconstruction.kilograms(_sums(parts, end, width), width)
            good = fresh & ~_spoiled(track, cell, updates_us, track.start + end - width)
            kg[:, cell] = np.where(good, mean_kg, np.nan)
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


def _whole_since(tracks: Sequence[Track]) -> NDArray[np.int64]:
    """When each instant had a good sample of every node; NEVER_US where it has not."""
    whole = np.where(tracks[0].good, tracks[0].arrived_us, NEVER_US)
    for track in tracks[1:]:
        whole = np.maximum(whole, np.where(track.good, track.arrived_us, NEVER_US))
    return whole


def _newest(window_us: NDArray[np.int64], updates_us: NDArray[np.int64], width: int) -> NDArray[np.intp]:
    """Index of the last instant of the newest window that was whole at each update; -1 for none."""
    earliest_from = np.minimum.accumulate(window_us[::-1])[::-1]
    place = np.searchsorted(earliest_from, updates_us, side="right") - 1
    return np.where(place >= 0, place + width - 1, -1)


def _sums(values: NDArray[np.int64], end: NDArray[np.intp], width: int) -> NDArray[np.int64]:
    """Sums over the width instants up to each end, along the last axis; 0 where end is -1."""
    running = np.zeros((*values.shape[:-1], values.shape[-1] + 1), dtype=np.int64)
    np.cumsum(values, axis=-1, out=running[..., 1:])
    last = np.where(end >= 0, end + 1, width)
    return running[..., last] - running[..., last - width]


def _means(sums: NDArray[np.int64], width: int) -> NDArray[np.int64]:
    """Sums to means, to the nearest part."""
    return (2 * sums + width) // (2 * width)
