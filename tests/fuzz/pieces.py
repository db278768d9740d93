"""Octets that a fuzzer made, read as a script: numbers and stretches, and nothing when they are used up.

Whatever the octets are, they mean something, so no input is thrown away before it reaches the decoder.
`Script` writes what `Pieces` reads, for seeds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType


@dataclass(frozen=True, slots=True)
class Target:
    """One decoder and what is promised of it.

    run: takes any octets; what escapes it is a bug.  decoders: the modules whose lines are counted.
    reaches: functions that the seeds must get into, or the target proves nothing: "module.Class.function".
    words: for a dictionary of the fuzzer.  longest: octets of the longest input that is tried.
    """

    run: Callable[[bytes], None]
    decoders: tuple[ModuleType, ...]
    reaches: tuple[str, ...]
    words: tuple[str, ...] = ()
    longest: int = 4096


class Pieces:
    """A script being read.  True while octets are left; reading beyond the end gives zeros and b""."""

    __slots__ = ("_at", "_octets")

    def __init__(self, octets: bytes) -> None:
        self._octets, self._at = octets, 0

    def __bool__(self) -> bool:
        return self._at < len(self._octets)

    def take(self, count: int) -> bytes:
        """The next octets, fewer at the end."""
        start = self._at
        self._at = min(start + count, len(self._octets))
        return self._octets[start : self._at]

    def number(self, octets: int = 1) -> int:
        """A whole number, little-endian."""
        return int.from_bytes(self.take(octets), "little")

    def some(self) -> bytes:
        """A stretch that says its own length (16 bits)."""
        return self.take(self.number(2))

    def rest(self) -> bytes:
        """All that is left."""
        return self.take(len(self._octets))


def some(octets: bytes) -> bytes:
    """What Pieces.some reads."""
    return len(octets).to_bytes(2, "little") + octets


def cuts(octets: bytes, size: int) -> list[bytes]:
    """Octets in pieces of a size."""
    return [octets[at : at + size] for at in range(0, len(octets), size)]
