"""Random processes in time: drawn in whole blocks on a grid of their own, straight in between.

Any instant can be asked for in any order and as often as wanted, and always says the same: what was dropped
is drawn again from the start.
"""

from __future__ import annotations

import functools
import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.randomness import Streams
from benchsim.scale.recursion import CHUNK, lag_scan, rounded

Floats = NDArray[np.float64]

_CHUNKS = 16
_BLOCK = _CHUNKS * CHUNK
# How far back values are kept, in time and in blocks: stations are read one after the other.  What lies
# before is drawn again when it is asked for.
_KEPT_US = 1_200_000_000
_KEPT_BLOCKS = 64, 1024
_SINE_BITS = 14
TURN = 1 << 64
_QUARTER = 1 << 62


class Wander:
    """Several first-order lags behind white noise (Ornstein and Uhlenbeck), each of mean 0 and variance 1.

    corners_hz: of each; its spectrum is level below and falls with the square above.  step_us: of the grid.
    start_us: the first instant that can be asked for; the process has gone on for ever by then.
    """

    def __init__(self, streams: Streams, corners_hz: tuple[float, ...], step_us: int, start_us: int) -> None:
        self._streams, self._step_us, self._start_us = streams, step_us, start_us
        angles = [2e-6 * math.pi * corner_hz * step_us for corner_hz in corners_hz]
        self._count = len(angles)
        least, most = _KEPT_BLOCKS
        self._kept = max(least, min(most, -(-_KEPT_US // (step_us * _BLOCK))))
        self._powers = tuple(
            np.array([rounded(math.exp(-a * (1 << k))) for a in angles]).reshape(-1, 1, 1)
            for k in range(CHUNK.bit_length() - 1)
        )
        self._table = np.array([[rounded(math.exp(-a * n)) for n in range(1, CHUNK + 1)] for a in angles])
        self._drive = np.array([[[rounded(math.sqrt(-math.expm1(-2.0 * a)))]] for a in angles])
        self._begin()

    def _begin(self) -> None:
        self._noise = self._streams.noise()
        self._state = self._noise.normal(self._count)
        self._blocks: deque[Floats] = deque([self._block()])
        self._first = 0

    def _block(self) -> Floats:
        """The next block, (lags, _BLOCK)."""
        values = self._drive * self._noise.normal(self._count * _BLOCK).reshape(self._count, _CHUNKS, CHUNK)
        lag_scan(values, self._powers)
        for chunk in range(_CHUNKS):
            values[:, chunk] += self._table * self._state[:, None]
            self._state = values[:, chunk, -1].copy()
        return values.reshape(self._count, _BLOCK)

    def at(self, t_us: NDArray[np.int64]) -> Floats:
        """Its values at rising instants, (lags, n)."""
        since_us = t_us - self._start_us
        places = since_us // self._step_us
        part = (since_us - places * self._step_us) / self._step_us
        low, high = int(places[0]) // _BLOCK, (int(places[-1]) + 1) // _BLOCK
        if low < self._first:
            self._begin()
        while self._first + len(self._blocks) <= high:
            self._blocks.append(self._block())
            self._drop_before(low)
        wanted = [self._blocks[n - self._first] for n in range(low, high + 1)]
        values = wanted[0] if len(wanted) == 1 else np.concatenate(wanted, axis=1)
        places = places - low * _BLOCK
        here = values[:, places]
        found: Floats = here + part * (values[:, places + 1] - here)
        return found

    def _drop_before(self, low: int) -> None:
        """What is older than is kept goes, save what is asked for."""
        while len(self._blocks) > self._kept and self._first < low:
            self._blocks.popleft()
            self._first += 1


@functools.cache
def _sines() -> Floats:
    size = 1 << _SINE_BITS
    return np.array([round(math.sin(2.0 * math.pi * (i + 0.5) / size), 12) for i in range(size)])


def sine(phases: NDArray[np.uint64]) -> Floats:
    """Sines of phases in 1/2**64 of a turn, by table."""
    return _sines()[(phases >> np.uint64(64 - _SINE_BITS)).astype(np.intp)]


def phases(since_us: NDArray[np.int64], frequency_hz: float) -> NDArray[np.uint64]:
    """Phases in 1/2**64 of a turn after these times."""
    step = round(frequency_hz * 1e-6 * TURN) % TURN
    return since_us.astype(np.uint64) * np.uint64(step)


class Band:
    """Noise of variance 1 about one frequency: two waves a quarter apart whose sizes wander.

    bandwidth_hz: between the two points of half power (a Lorentz line).  0: one wave that stays.
    """

    _OF_A_CORNER = 0.04  # how far the sizes may come in one step of their grid

    def __init__(self, streams: Streams, frequency_hz: float, bandwidth_hz: float, start_us: int) -> None:
        self._frequency_hz, self._start_us = frequency_hz, start_us
        corner_hz = max(0.5 * bandwidth_hz, 1e-9)
        step_us = round(min(max(1e6 * self._OF_A_CORNER / (2.0 * math.pi * corner_hz), 200.0), 1e6))
        self._sizes = Wander(streams, (corner_hz, corner_hz), step_us, start_us)

    def at(self, t_us: NDArray[np.int64]) -> Floats:
        """Its values at rising instants, (n,)."""
        one, other = self._sizes.at(t_us)
        turned = phases(t_us - self._start_us, self._frequency_hz)
        found: Floats = one * sine(turned + np.uint64(_QUARTER)) + other * sine(turned)
        return found
