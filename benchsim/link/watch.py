"""A host's flow from one node: takes data once, notices gaps and silence, beats, takes a session up again.

Nothing here moves a step; the seat asks and decides.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, Samples
from benchsim.link import data, frames
from benchsim.link.codec import Frame
from benchsim.link.gaps import Gaps
from benchsim.link.limits import FIRST_BEAT_US, FIRST_BEATS, REKEY_AT
from benchsim.link.parts import LinkSettings
from benchsim.link.session import Session


@dataclass(slots=True)
class WatchCounters:
    """taken, filled: samples, new and repeated.  refused, unwanted: frames that were not taken."""

    taken: int = 0
    filled: int = 0
    refused: int = 0
    unwanted: int = 0


class Watch:
    """One session as its host watches it."""

    def __init__(
        self, session: Session, gaps: Gaps, settings: LinkSettings, dice: Dice, counters: WatchCounters
    ) -> None:
        self.session, self.gaps, self.settings, self.counters = session, gaps, settings, counters
        self.heard_us = 0
        self._dice = dice
        self._beat_us = 0
        self._beats = 0
        self._asked: frames.Resume | None = None
        self._epoch = 0

    def begin(self, now_us: int) -> None:
        """The flow begins, or goes on: the first beats come soon after each other, to read the clock."""
        self.heard_us = self._beat_us = now_us
        self._beats = 0

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        """The samples of a data frame whose CRC is right, when they are authentic, new and wanted."""
        taken = data.take(self.session, frame)
        if isinstance(taken, str):
            self.counters.refused += 1
            return None
        self.heard_us = now_us
        first, node_t_us, rows, channels, status, octets = taken
        if not self.gaps.take(first, rows, now_us):
            self.counters.unwanted += 1
            return None
        self.counters.taken += rows
        return Samples(self.session.address, first, rows, channels, node_t_us, now_us, octets, status)

    def verify(self, frame: Frame, now_us: int) -> bool:
        """Whether a control frame is of this session, new and authentic."""
        if not self.session.ours(frame):
            return False
        if not self.session.verify(frame):
            self.counters.refused += 1
            return False
        self.heard_us = now_us
        return True

    def hear(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        """What a verified control frame says."""
        message = frame.message
        if isinstance(message, frames.Gone):
            for first, count in message.ranges:
                self.gaps.gone(first, first + count)
        elif isinstance(message, frames.Echo):
            self.gaps.expect(message.next_sample, now_us)
            round_trip_us = now_us - message.host_t_us
            middle_us = message.host_t_us + round_trip_us // 2
            return ClockReading(self.session.address, middle_us, message.node_t_us, round_trip_us)
        elif isinstance(message, frames.Repeat):
            return self._fill(message, now_us)
        return None

    def _fill(self, repeat: frames.Repeat, now_us: int) -> Samples | None:
        if not self.gaps.take(repeat.first, repeat.rows, now_us):
            self.counters.unwanted += 1
            return None
        self.counters.filled += repeat.rows
        return Samples(
            self.session.address, repeat.first, repeat.rows, repeat.channels, repeat.node_t_us, now_us,
            repeat.samples, repeat.status, resent=True,
        )  # fmt: skip

    def due(self, now_us: int) -> list[bytes]:
        """Beats, and what lacks."""
        session, out = self.session, []
        if now_us >= self._beat_us:
            self._beats += 1
            pause_us = FIRST_BEAT_US if self._beats < FIRST_BEATS else self.settings.beat_us
            self._beat_us = now_us + pause_us
            out.append(session.control_frame(frames.Beat(now_us)))
            if max(session.data.highest, session.control.highest, session.sequence) >= REKEY_AT:
                out.append(self.resume())
        ranges = self.gaps.ask(now_us)
        if ranges:
            out.append(session.control_frame(frames.Again(ranges)))
        return out

    def wake_us(self) -> int:
        """When something is due, or the node counts as lost."""
        wake_us = min(self._beat_us, self.heard_us + self.settings.liveness_us)
        gap_us = self.gaps.due_us()
        return wake_us if gap_us is None else min(wake_us, gap_us)

    def silence_us(self, now_us: int) -> int:
        """For how long nothing authentic was heard, once that is too long; else 0."""
        silence_us = now_us - self.heard_us
        return silence_us if silence_us >= self.settings.liveness_us else 0

    def resume(self) -> bytes:
        """A frame that asks to go on with new keys; each has a higher epoch and a nonce of its own."""
        self._epoch += 1
        self._asked = frames.Resume(self._epoch, self._dice.octets(16))
        return self.session.resume_frame(self._asked)

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        """Whether the node agreed to the last resume; then the new keys hold from now on."""
        asked, session = self._asked, self.session
        if asked is None or not session.ours(frame):
            return False
        if (answer.epoch, answer.host_nonce) != (asked.epoch, asked.nonce):
            return False
        if not session.resume.fits(frame.body, frame.tag):
            self.counters.refused += 1
            return False
        session.turn(answer.epoch, answer.host_nonce, answer.nonce)
        self._asked = None
        self.gaps.expect(answer.next_sample, now_us)
        self.begin(now_us)
        return True
