"""Named child streams of one seed: who draws does not depend on who else draws.

Only the raw output of a bit generator is used, since NumPy keeps that stable between releases; normal
numbers come from it through a fixed table.  A stream is drawn in order, so the size of a block never
shows in what is drawn.
"""

from __future__ import annotations

import functools
import hashlib
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

_TABLE_BITS = 16
_HALF_SQRT = 0.707106781187  # 1/sqrt(2), 12 digits


@functools.cache
def normal_table() -> NDArray[np.float64]:
    """Standard normal quantiles at the middles of 2**16 equal steps, mirror-symmetric.

    Source: statistics.NormalDist().inv_cdf (Wichura, algorithm AS 241), rounded to 12 decimals so that
    it is the same on every machine.
    """
    size = 1 << _TABLE_BITS
    inverse = NormalDist().inv_cdf
    upper = np.array([round(inverse((i + 0.5) / size), 12) for i in range(size // 2, size)])
    return np.concatenate([-upper[::-1], upper])


class Noise:
    """Random numbers in blocks, drawn in order."""

    __slots__ = ("_bits",)

    def __init__(self, key: int) -> None:
        self._bits = np.random.SFC64(np.random.SeedSequence(key))

    def raw(self, count: int) -> NDArray[np.uint64]:
        """count raw 64-bit words."""
        return self._bits.random_raw(count)

    def normal(self, count: int) -> NDArray[np.float64]:
        """count standard normal numbers, float64, (count,).

        One 64-bit word a number: the sum of two table look-ups over sqrt(2), so the tails reach 6 sigma
        and the step between neighbouring values is far below any converter's.
        """
        words = self._bits.random_raw(count)
        table = normal_table()
        low = table[(words & np.uint64(0xFFFF)).astype(np.intp)]
        high = table[(words >> np.uint64(48)).astype(np.intp)]
        return (low + high) * _HALF_SQRT


class Dice:
    """Random numbers one at a time, drawn in order."""

    __slots__ = ("_bits", "_stock")

    def __init__(self, key: int) -> None:
        self._bits = np.random.SFC64(np.random.SeedSequence(key))
        self._stock: list[int] = []

    def word(self) -> int:
        """64 random bits."""
        if not self._stock:
            self._stock = self._bits.random_raw(256)[::-1].tolist()
        return self._stock.pop()

    def unit(self) -> float:
        """A number from 0 up to but not 1."""
        return (self.word() >> 11) * 2.0**-53

    def below(self, limit: int) -> int:
        """A whole number from 0 up to but not limit (bias below limit / 2**64)."""
        return (self.word() * limit) >> 64

    def normal(self) -> float:
        """A standard normal number, made as Noise.normal makes it."""
        word = self.word()
        table = normal_table()
        return float((table[word & 0xFFFF] + table[word >> 48]) * _HALF_SQRT)

    def octets(self, count: int) -> bytes:
        """count random bytes."""
        return b"".join(self.word().to_bytes(8, "little") for _ in range(-(-count // 8)))[:count]


class Streams:
    """The tree of names below one seed.  streams.child("node", 2).noise("cell", 1) is always the same."""

    __slots__ = ("_path",)

    def __init__(self, seed: int | str) -> None:
        self._path = f"{seed}"

    def child(self, *names: str | int) -> Streams:
        return Streams("/".join([self._path, *map(str, names)]))

    def noise(self, *names: str | int) -> Noise:
        return Noise(self.child(*names)._key())

    def dice(self, *names: str | int) -> Dice:
        return Dice(self.child(*names)._key())

    def _key(self) -> int:
        return int.from_bytes(hashlib.sha256(self._path.encode()).digest()[:16], "little")
