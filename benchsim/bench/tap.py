"""A channel that is listened to: each frame as it sets out, and what of it arrives when.

It hangs around a channel only while somebody keeps frames, so that nobody else pays for it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from benchsim.link.impairment import Impairment
from benchsim.record.frames import Carried

Keep = Callable[[Carried], object]


class Way(Protocol):
    """One direction between a node and the host."""

    def carry(self, frame: bytes, sent_us: int) -> list[tuple[int, bytes]]:
        """(arrival time, frame) of what comes out of a frame sent now, in order of time."""

    def change(self, stack: tuple[Impairment, ...]) -> None:
        """Another stack from now on."""


class Tapped:
    """A way, and what is carried on it told to a keeper.  number: of the way, as Carried has it."""

    __slots__ = ("_keep", "_number", "_way")

    def __init__(self, way: Way, number: int, keep: Keep) -> None:
        self._way, self._number, self._keep = way, number, keep

    def carry(self, frame: bytes, sent_us: int) -> list[tuple[int, bytes]]:
        """What the way makes of it."""
        arrivals = self._way.carry(frame, sent_us)
        self._keep((self._number, sent_us, frame, arrivals))
        return arrivals

    def change(self, stack: tuple[Impairment, ...]) -> None:
        """Handed on."""
        self._way.change(stack)
