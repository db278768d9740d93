"""How long a state lasts: from the instant that shows it up to the first that no longer does.

What still holds at the last instant looked at lasts to the end of the look, since nothing new was shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Spell:
    """One time over which a state held, in microseconds."""

    from_us: int
    to_us: int


def begins(holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where a state begins: it holds and did not at the instant before, or there is none before."""
    before = np.zeros_like(holds)
    before[1:] = holds[:-1]
    return holds & ~before


def longest(
    t_us: NDArray[np.int64], holds: NDArray[np.bool_], ends_us: int, begun_by_us: int
) -> Spell | None:
    """The longest spell (the first of them) that begins by begun_by_us; None when there is none.

    t_us, holds: (n,), by instant.  ends_us: where the look ends, not before the last instant.
    """
    first = np.flatnonzero(begins(holds))
    first = first[t_us[first] <= begun_by_us]
    if not len(first):
        return None
    falls = np.flatnonzero(begins(~holds))
    ends = np.append(t_us[falls], ends_us)[np.searchsorted(falls, first)]
    index = int(np.argmax(ends - t_us[first]))
    return Spell(int(t_us[first][index]), int(ends[index]))
