"""Why a weight cannot be given, in words that name the node or the cell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchsim.ground.readings import ChannelStatus
from benchsim.host.alignment import Track

STATUS_WORDS = {
    ChannelStatus.HIGH: "at the upper stop of the converter's range",
    ChannelStatus.LOW: "at the lower stop of the converter's range",
    ChannelStatus.OPEN: "no bridge at the terminals",
    ChannelStatus.REFERENCE: "excitation or its sense out of range",
}


def status_words(status: int) -> str:
    """What a digitiser says of a channel, for people."""
    named = [words for flag, words in STATUS_WORDS.items() if status & flag]
    return ", ".join(named) or f"channel status {status}"


def bad_cell(tracks: Sequence[Track], t_us: int, newest: int) -> str:
    """The first cell that was not good after the newest whole instant, by what had arrived; "" for none."""
    for cell, stretches in sorted((c, s) for track in tracks for c, s in track.bad.items()):
        for stretch in reversed(stretches):
            if stretch.last_instant > newest and stretch.arrived_us <= t_us:
                return f"cell {cell + 1}: {status_words(stretch.status)}"
    return ""


def missing(
    tracks: Sequence[Track], t_us: int, fresh_from: int, width: int, silent: str, newcomer: tuple[int, int]
) -> str:
    """Why there is no full, fresh window at t_us though every node flows.

    fresh_from: the first instant that is fresh enough; width: instants of a window; silent: what to say
    of a node that has sent none of those; newcomer: the node that was the last to begin to flow, and the
    first instant from when it did.
    """
    newest: list[int] = []
    grid = tracks[0].grid
    skip = max(0, fresh_from - grid.start)
    for track in tracks:
        if note := track.note_at(t_us):
            return f"node {track.address}: {note}"
        (there,) = np.nonzero(track.arrived_us[skip:] <= t_us)
        if not len(there):
            return f"node {track.address}: {silent}"
        newest.append(skip + int(there[-1]))
    last = min(newest)
    address, since = newcomer
    if grid.start + last < since + width - 1:
        return f"node {address}: too few samples yet"
    late = grid.arrived_us[max(0, last - width + 1) : last + 1] > t_us
    gaps = late.sum(axis=0).tolist()
    return f"node {tracks[gaps.index(max(gaps))].address}: samples missing"
