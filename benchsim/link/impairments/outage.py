"""Nothing passes from then to then."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice


@dataclass(frozen=True, slots=True)
class Outage:
    """windows: (from, to) in us of bench time; a frame that sets out at `from` is lost, one at `to` is not.

    Without windows nothing passes at all, as long as the impairment is there.
    """

    windows: tuple[tuple[int, int], ...] = ()

    def start(self, dice: Dice) -> OutagePassage:
        return OutagePassage(self.windows)


class OutagePassage:
    __slots__ = ("_windows",)

    def __init__(self, windows: tuple[tuple[int, int], ...]) -> None:
        self._windows = windows

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        if not self._windows or any(a <= t_us < b for a, b in self._windows):
            return ()
        return ((t_us, frame),)
