"""Stable equilibrium: judged on the weight of every instant, not on the means that are shown.

Stable is: over the last `stable_for_us` no instant's weight lay farther from the weight now shown than
the band, all those instants are there, without a gap, the weight did not drift meanwhile, and what any
node has sent since does not leave the band.  Source: HB 44 S.2.5.1, R 76-1 4.4.2, the time: Canada
C.R.C. 1605; all by way of the profile.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Spread:
    """One item an update: the least and the greatest weight of the stretch up to it, in parts.

    drift: how much more its newer half sums up to than its older half, of half instants each.
    whole: every instant of the stretch was there by then; the others mean nothing where it is False.
    """

    low: NDArray[np.int64]
    high: NDArray[np.int64]
    drift: NDArray[np.int64]
    half: int
    whole: NDArray[np.bool_]

    def within(self, shown: NDArray[np.int64], band: int, settled: int) -> NDArray[np.bool_]:
        """Every instant of the stretch within band of the weight shown, its halves within settled; parts."""
        stable: NDArray[np.bool_] = self.whole & (self.high - shown <= band) & (shown - self.low <= band)
        stable &= np.abs(self.drift) <= settled * self.half
        return stable


def spread(
    weights: NDArray[np.int64],
    whole_us: NDArray[np.int64],
    width: int,
    ends: NDArray[np.intp],
    updates_us: NDArray[np.int64],
) -> Spread:
    """The spread over the `width` instants up to each end.

    weights: parts, one an instant; whole_us: since when each instant is there.  ends: index of the last
    instant that each update shows, -1 for none; updates_us: the time of each.
    """
    half = max(1, width // 2)
    if len(weights) < width:
        nothing = np.zeros(len(ends), dtype=np.int64)
        return Spread(nothing, nothing, nothing, half, np.zeros(len(ends), dtype=np.bool_))
    first = np.maximum(ends - (width - 1), 0)
    whole = (ends >= width - 1) & (over_windows(np.maximum, whole_us, width)[first] <= updates_us)
    low = over_windows(np.minimum, weights, width)[first]
    high = over_windows(np.maximum, weights, width)[first]
    running = np.zeros(len(weights) + 1, dtype=np.int64)
    np.cumsum(weights, out=running[1:])
    after = first + width
    newer, older = running[after] - running[after - half], running[first + half] - running[first]
    return Spread(low, high, newer - older, half, whole)
