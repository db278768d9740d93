"""Cells that follow the temperature of their site late: what that does to zero and span.

A cell's temperature lags by one time constant; what it lacks decays from the site's change on, in chunks.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.recursion import CHUNK, rounded

Floats = NDArray[np.float64]

# A cell that lies less than this from its site's temperature has taken it: far below any effect.
_SETTLED_K = 1e-9


@dataclass(frozen=True, slots=True)
class Warmth:
    """What a kelvin that cells lie above their site is to their output, and how such kelvins go.

    zero_per_k: mV/V.  span_per_k: mV/V per E_max.  Both (cells, 1).  late: (cells,), 1, or 0 for a cell
    without a time constant, which is never off its site.  table: (cells, CHUNK), what is left after
    1 ... CHUNK samples.
    """

    zero_per_k: Floats
    span_per_k: Floats
    late: Floats
    table: Floats

    @classmethod
    @functools.lru_cache(maxsize=64)
    def of(cls, cells: tuple[tuple[float, float, float, float], ...], rate_hz: float) -> Warmth:
        """cells: (rated output in mV/V, zero effect and span effect per K, time constant in s) of each."""
        return cls(
            np.array([[rated * zero] for rated, zero, _, _ in cells]),
            np.array([[rated * span] for rated, _, span, _ in cells]),
            np.array([1.0 if time_constant_s > 0.0 else 0.0 for _, _, _, time_constant_s in cells]),
            np.array([_decay(time_constant_s, rate_hz) for _, _, _, time_constant_s in cells]),
        )

    def lasts(self, off_k: Floats, most: int) -> int:
        """How many chunks, up to `most`, begin with a cell off its site's temperature.  off_k: (cells,)."""
        chunks = 0
        while chunks < most and np.abs(off_k).max() >= _SETTLED_K:
            chunks += 1
            off_k = off_k * self.table[:, -1]
        return chunks

    def along(self, off_k: Floats, count: int) -> Floats:
        """How far cells lie off their site from the start of a chunk on, (cells, count).  off_k: (cells,)."""
        chunks = -(-count // CHUNK)
        found = np.empty((len(off_k), chunks, CHUNK))
        for chunk in range(chunks):
            np.multiply(self.table, off_k[:, None], out=found[:, chunk])
            off_k = found[:, chunk, -1]
        return found.reshape(len(found), -1)[:, :count]


def _decay(time_constant_s: float, rate_hz: float) -> list[float]:
    if time_constant_s <= 0.0:
        return [0.0] * CHUNK
    return [rounded(math.exp(-sample / (rate_hz * time_constant_s))) for sample in range(1, CHUNK + 1)]
