"""A host's flow from one node: takes data once, notices gaps and silence, beats, takes a session up again.

Nothing here moves a step; the seat asks and decides.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from benchsim.ground.clock import SECOND_US
from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, Samples
from benchsim.link import data, frames
from benchsim.link.codec import Frame
from benchsim.link.gaps import Gaps
from benchsim.link.limits import (
    BEATS_KEPT,
    FIRST_BEAT_US,
    FIRST_BEATS,
    LIVENESS_MARGIN_US,
    NO_NUMBER,
    REKEY_AT,
    RESUMES_KEPT,
)
from benchsim.link.parts import LinkSettings
from benchsim.link.session import Session
from benchsim.link.trial import Trial

# How far a counter may be ahead at once: a node that was late to speak, not one that tells tales.
SLACK_US = 4 * SECOND_US


@dataclass(slots=True)
class WatchCounters:
    """taken, filled: samples, new and repeated.  refused, unwanted: frames that were not taken."""

    taken: int = 0
    filled: int = 0
    refused: int = 0
    unwanted: int = 0


@dataclass(frozen=True, slots=True)
class Agreed:
    """What seek and offer agreed on: every frame of the flow must keep to it."""

    samples_per_frame: int
    channels: int
    rate_hz: int


class Watch:
    """One session as its host watches it."""

    def __init__(
        self,
        session: Session,
        gaps: Gaps,
        settings: LinkSettings,
        dice: Dice,
        counters: WatchCounters,
        agreed: Agreed,
    ) -> None:
        self.session, self.gaps, self.settings, self.counters = session, gaps, settings, counters
        self.heard_us = 0
        self._dice = dice
        self._beat_us = 0
        self._beats = 0
        self._told_us: deque[int] = deque(maxlen=BEATS_KEPT)
        self._asked: deque[frames.Resume] = deque(maxlen=RESUMES_KEPT)
        self._resume_us = 0
        self._epoch = 0
        self._agreed = agreed
        self._shape = (agreed.samples_per_frame, agreed.channels)
        self._base: tuple[int, int] | None = None
        self.trial: Trial | None = None
        frame_us = agreed.samples_per_frame * SECOND_US // agreed.rate_hz
        self.liveness_us = max(settings.liveness_us, 2 * frame_us + LIVENESS_MARGIN_US)

    def begin(self, now_us: int) -> None:
        """The flow begins, or goes on: the first beats come soon after each other, to read the clock."""
        self.heard_us = self._beat_us = now_us
        self._beats = 0
        if self._base is None:
            self._base = (self.gaps.next, now_us)

    def on_trial(self) -> None:
        """The flow that begins now is a first one: see whether the link is good enough."""
        k, rate_hz = self._agreed.samples_per_frame, self._agreed.rate_hz
        self.trial = Trial(k, rate_hz, self.gaps.next, self.counters.taken)

    def tried(self) -> str | None:
        """The trial's verdict once it is over: why the link is too poor, "" when it will do; else None."""
        trial, sent = self.trial, self.gaps.next
        if trial is None or not trial.over(sent):
            return None
        self.trial = None
        return trial.verdict(sent, self.counters.taken)

    def _plausible(self, first: int, now_us: int) -> bool:
        """Whether the node can have read so many samples since the session began, at twice its rate."""
        assert self._base is not None
        next_sample, began_us = self._base
        return first - next_sample <= 2 * self._agreed.rate_hz * (now_us - began_us + SLACK_US) // SECOND_US

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        """The samples of a data frame whose CRC is right, when they are authentic, new and wanted."""
        taken = data.take(self.session, frame)
        if isinstance(taken, str):
            self.counters.refused += 1
            return None
        first, node_t_us, rows, channels, status, octets = taken
        gaps = self.gaps
        self.heard_us = now_us
        odd = first != gaps.next and self._odd(first, now_us)
        if odd or (rows, channels) != self._shape or node_t_us >= NO_NUMBER:
            self.counters.refused += 1
            return None
        if not gaps.take(first, rows, now_us):
            self.counters.unwanted += 1
            return None
        self.counters.taken += rows
        return Samples(self.session.address, first, rows, channels, node_t_us, now_us, octets, status)

    def _odd(self, first: int, now_us: int) -> bool:
        """Whether a frame begins where none can begin."""
        return first % self._shape[0] != 0 or not self._plausible(first, now_us)

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
            known = message.host_t_us in self._told_us and message.node_t_us < NO_NUMBER
            if not known or not self._plausible(message.next_sample, now_us):
                self.counters.refused += 1
                return None
            self.gaps.expect(message.next_sample, now_us)
            round_trip_us = now_us - message.host_t_us
            middle_us = message.host_t_us + round_trip_us // 2
            return ClockReading(self.session.address, middle_us, message.node_t_us, round_trip_us)
        elif isinstance(message, frames.Repeat):
            return self._fill(message, now_us)
        return None

    def _fill(self, repeat: frames.Repeat, now_us: int) -> Samples | None:
        rows, channels = self._shape
        odd = repeat.rows > rows or repeat.channels != channels or repeat.node_t_us >= NO_NUMBER
        if odd or repeat.first + repeat.rows > self.gaps.next:
            self.counters.refused += 1
            return None
        if not self.gaps.take(repeat.first, repeat.rows, now_us):
            self.counters.unwanted += 1
            return None
        self.counters.filled += repeat.rows
        return Samples(
            self.session.address, repeat.first, repeat.rows, repeat.channels, repeat.node_t_us, now_us,
            repeat.samples, repeat.status, resent=True,
        )  # fmt: skip

    def due(self, now_us: int) -> list[bytes]:
        """Beats, new keys in good time, and what lacks."""
        session, out = self.session, []
        if now_us >= self._beat_us or now_us >= self._quiet_us():
            self._beats += 1
            pause_us = FIRST_BEAT_US if self._beats < FIRST_BEATS else self.settings.beat_us
            self._beat_us = now_us + pause_us
            self._told_us.append(now_us)
            if not session.spent:
                out.append(session.control_frame(frames.Beat(now_us)))
            if now_us >= self._resume_us and self._tired():
                out.append(self.resume(now_us))
        ranges = self.gaps.ask(now_us)
        if ranges and not session.spent:
            out.append(session.control_frame(frames.Again(ranges)))
        return out

    def _tired(self) -> bool:
        """Whether a counter is so high that new keys are due."""
        session = self.session
        return max(session.data.highest, session.control.highest, session.sequence) >= REKEY_AT

    def _quiet_us(self) -> int:
        """When a node that says nothing is asked whether it is there, before it counts as lost."""
        limit_us = self.liveness_us
        last_us = self._told_us[-1] if self._told_us else self.heard_us
        return max(self.heard_us + limit_us // 2, last_us + limit_us // 4)

    def wake_us(self) -> int:
        """When something is due, or the node counts as lost."""
        wake_us = min(self._beat_us, self._quiet_us(), self.heard_us + self.liveness_us)
        gap_us = self.gaps.due_us()
        return wake_us if gap_us is None else min(wake_us, gap_us)

    def silence_us(self, now_us: int) -> int:
        """For how long nothing authentic was heard, once that is too long; else 0."""
        silence_us = now_us - self.heard_us
        return silence_us if silence_us >= self.liveness_us else 0

    def resume(self, now_us: int) -> bytes:
        """A frame that asks to go on with new keys; each has a higher epoch and a nonce of its own."""
        self._epoch += 1
        asked = frames.Resume(self._epoch, self._dice.octets(16))
        self._asked.append(asked)
        self._resume_us = now_us + self.settings.answer_timeout_us
        return self.session.resume_frame(asked)

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        """Whether the node agreed to one of the last resumes; then its keys hold from now on.

        Answers may be slower than the resumes that follow: each of the last RESUMES_KEPT may still be
        answered, but none after one that was asked later.
        """
        session = self.session
        if not session.ours(frame):
            return False
        if not any((a.epoch, a.nonce) == (answer.epoch, answer.host_nonce) for a in self._asked):
            return False
        if not session.resume.fits(frame.body, frame.tag) or not self._plausible(answer.next_sample, now_us):
            self.counters.refused += 1
            return False
        session.turn(answer.epoch, answer.host_nonce, answer.nonce)
        while self._asked and self._asked[0].epoch <= answer.epoch:
            self._asked.popleft()
        before = self.gaps.next
        self.gaps.expect(answer.next_sample, now_us)
        if self.trial is not None:
            self.trial.skip(self.gaps.next - before)
        self.begin(now_us)
        return True
