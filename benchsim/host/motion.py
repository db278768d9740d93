"""Stable equilibrium: judged on the weight of every instant, not on the means that are shown.

Stable is: over the last `stable_for_us` no instant's weight lay farther from the weight now shown than
the band, and all those instants are there, without a gap.  Source: HB 44 S.2.5.1, R 76-1 4.4.2, the
time: Canada C.R.C. 1605; all by way of the profile.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Pairwise = Callable[[NDArray[np.int64], NDArray[np.int64]], Any]


def over_windows(combine: Pairwise, values: NDArray[np.int64], width: int) -> NDArray[np.int64]:
    """np.maximum or np.minimum over every run of `width` values: int64, (len(values) - width + 1,).

    Item k is of values[k : k + width].  Doubling, so it costs log2(width) passes.
    """
    if len(values) < width:
        return values[:0]
    result, span = values, 1
    while span < width:
        step = min(span, width - span)
        result = combine(result[step:], result[:-step])
        span += step
    return result


def spread_within(
    weights: NDArray[np.int64],
    width: int,
    ends: NDArray[np.intp],
    shown: NDArray[np.int64],
    band: int,
) -> NDArray[np.bool_]:
    """Whether the `width` instants up to each end lie within band of the weight shown there.

    weights: parts, one an instant.  ends: index of the last instant; False where fewer than width lie
    before it.  shown, band: parts.
    """
    enough = ends >= width - 1
    if len(weights) < width:
        return np.zeros(len(ends), dtype=np.bool_)
    first = np.maximum(ends - (width - 1), 0)
    high = over_windows(np.maximum, weights, width)[first]
    low = over_windows(np.minimum, weights, width)[first]
    return enough & (high - shown <= band) & (shown - low <= band)
