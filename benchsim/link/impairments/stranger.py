"""Another network on the same channel: its frames spoil ours that they meet; the others are heard, too.

Neither network listens before it sends.  The other one never talks over itself: a frame, a gap that
forgets how long it has lasted, the next frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.ground.randomness import Dice
from benchsim.link.codec import body_of, seal
from benchsim.link.data import FOOT_OCTETS, HEAD
from benchsim.link.frames import FROM_NODE, Data, Header, Kind
from benchsim.link.impairments.rate import Rate
from benchsim.link.limits import MAX_CHANNELS, TAG_OCTETS
from benchsim.link.runs import Runs

MOST_ADDRESSES = 16
MOST_HEARD = 4
_AROUND_SAMPLES = HEAD.size + MAX_CHANNELS + FOOT_OCTETS


@dataclass(frozen=True, slots=True)
class Stranger:
    """gap_us: mean time from the end of one of its frames to the start of the next.  rows: samples in each.

    rate: of the channel, for both networks; frames are taken to come from it, so one that enters now has
    been on the air until now.  network: number of the other network; with our own it is a rogue node.
    heard: whether its frames that met none of ours come out too.  It is asked only when a frame of ours
    passes, so it brings what was heard since the last one together with that one, the latest MOST_HEARD.
    """

    gap_us: int = 100_000
    rows: int = 8
    network: int = 0xBEEF
    rate: Rate = field(default_factory=Rate)
    heard: bool = True

    @property
    def air_us(self) -> int:
        """How long one of its frames is on the air."""
        return self.rate.air_us(_AROUND_SAMPLES + 4 * MAX_CHANNELS * self.rows)

    def hit(self, octets: int) -> float:
        """Probability that a frame of ours of this length meets one of theirs.

        It passes when the channel is free as it begins and no gap ends while it lasts; in a renewal
        process of fixed frames and geometric gaps the two are independent.
        """
        free = self.gap_us / (self.gap_us + self.air_us)
        return 1.0 - free * (self.gap_us / (self.gap_us + 1)) ** (self.rate.air_us(octets) - 1)

    def start(self, dice: Dice) -> StrangerPassage:
        return StrangerPassage(self, dice)


class StrangerPassage:
    """Walks the other network's frames up to the end of each of ours."""

    __slots__ = ("_air_us", "_begin_us", "_dice", "_gaps", "_last_us", "_sequence", "_session", "_stranger")

    def __init__(self, stranger: Stranger, dice: Dice) -> None:
        self._stranger, self._dice, self._air_us = stranger, dice, stranger.air_us
        self._gaps = Runs(1.0 / (stranger.gap_us + 1), dice)
        self._session = 1 + dice.below(0xFFFF_FFFF)
        self._sequence = 0
        self._begin_us = self._gaps.next()  # of their next frame
        self._last_us = -1  # end of our last frame

    def carry(self, frame: bytes, t_us: int) -> tuple[tuple[int, bytes], ...]:
        ours_us = t_us - self._stranger.rate.air_us(len(frame))
        clear, passes = 0, True
        while self._begin_us < t_us:
            ends_us = self._begin_us + self._air_us
            if ends_us > ours_us:
                passes = False
            elif self._begin_us >= self._last_us:
                clear += 1
            if ends_us > t_us:  # it may meet our next frame, too
                break
            self._begin_us = ends_us + self._gaps.next()
        self._last_us = max(self._last_us, t_us)
        heard = min(clear, MOST_HEARD) if self._stranger.heard else 0
        theirs = tuple((t_us, self._frame()) for _ in range(heard))
        return (*theirs, (t_us, frame)) if passes else theirs

    def _frame(self) -> bytes:
        """One of their data frames: right in every way, but of another network or at least another key."""
        dice, rows = self._dice, self._stranger.rows
        self._sequence += 1
        header = Header(
            1, Kind.DATA, self._stranger.network, 1 + dice.below(MOST_ADDRESSES), FROM_NODE, self._session,
            self._sequence,
        )  # fmt: skip
        samples = dice.octets(4 * MAX_CHANNELS * rows)
        first = self._sequence * rows
        message = Data(first, first * 12_500, rows, MAX_CHANNELS, bytes(MAX_CHANNELS), samples)
        return seal(body_of(header, message), dice.octets(TAG_OCTETS))
