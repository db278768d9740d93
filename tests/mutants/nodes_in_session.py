"""Nodes that are wrong in what they take, when they stop, and in what they keep of a session."""

from __future__ import annotations

import struct
from dataclasses import replace

from benchsim.ground.randomness import Dice
from benchsim.link import codec, data, frames, framing
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Kind, Message
from benchsim.link.gaps import Window
from benchsim.link.keys import Tagger
from benchsim.link.limits import CRC_OCTETS, HEADER_OCTETS, MAX_RANGES, TAG_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.link.steps import Step
from tests.mutants.wrong_node import Wrong, enters

# The longest frame in COBS, with its 0x00.
LONGEST_RUN = 1335
ENTERED: list[Wrong] = []
wrong = enters(ENTERED)


@wrong("node-frame-with-a-wrong-crc-is-dropped")
class ChecksNoCrc(NodeEnd):
    """Takes frames with any CRC: the tag will do."""

    def receive(self, frame: bytes, now_us: int) -> None:
        super().receive(codec.seal(frame[:-CRC_OCTETS]), now_us)


@wrong("node-frame-too-short-or-too-long-is-dropped")
class HearsNothingAfterALongRun(NodeEnd):
    """Has no way back from a run that is longer than its buffer."""

    deaf = False

    def receive(self, frame: bytes, now_us: int) -> None:
        self.deaf = self.deaf or len(framing.to_stream(frame)) > LONGEST_RUN
        if not self.deaf:
            super().receive(frame, now_us)


@wrong("node-frame-of-another-network-is-dropped")
class LooksAtNoNetworkInASession(NodeEnd):
    """Goes by the session number alone."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(replace(frame, header=replace(frame.header, network=self.card.network)), now_us)


@wrong("node-frame-of-the-wrong-direction-is-dropped")
class LooksAtNoDirection(NodeEnd):
    """Answers beats that carry the flag of a node."""

    def receive(self, frame: bytes, now_us: int) -> None:
        super().receive(frame, now_us)
        if self.session is not None and data.whole(frame) and frame[1] == Kind.BEAT and frame[5] == FROM_NODE:
            body, tag = frame[: -CRC_OCTETS - TAG_OCTETS], frame[-CRC_OCTETS - TAG_OCTETS : -CRC_OCTETS]
            if self.session.into.fits(body, tag):
                echo = frames.Echo(int.from_bytes(body[HEADER_OCTETS:], "little"), 0, 0)
                self._tell(self.session, echo, now_us)


@wrong("node-frame-with-a-wrong-tag-is-dropped")
class ComparesPartOfATag(NodeEnd):
    """Compares the first half of a tag."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        if self.session is not None:
            due = self.session.into.tag(frame.body)
            if frame.tag[: TAG_OCTETS // 2] == due[: TAG_OCTETS // 2]:
                frame = replace(frame, tag=due)
        super()._on_session(frame, now_us)


@wrong("node-replayed-frame-is-dropped")
class TakesReplays(NodeEnd):
    """Keeps no replay window."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        if self.session is not None:
            self.session.control = Window()
        super()._on_session(frame, now_us)


@wrong("node-sequence-is-used-up-by-a-right-tag-only")
class UsesNumbersUpBeforeTheTag(NodeEnd):
    """Marks a sequence as taken before it looks at the tag."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        session = self.session
        if session is not None and session.ours(frame) and session.control.fresh(frame.header.sequence):
            session.control.take(frame.header.sequence)


@wrong("node-flow-stops-when-its-host-is-silent")
class NeverStops(NodeEnd):
    """Flows on when nobody speaks to it."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        self._heard_us = now_us
        return super().due(now_us)


@wrong("node-only-authentic-frames-keep-a-node-flowing")
class AnythingKeepsItAlive(NodeEnd):
    """Counts every frame at its address as a sign of its host."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        self._heard_us = now_us


@wrong("node-echo-says-the-clock-of-now")
class EchoesAnOldClock(NodeEnd):
    """Says in an echo what its clock was at the echo before."""

    before_us = 0

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if isinstance(message, frames.Echo):
            self.before_us, clock_us = message.node_t_us, self.before_us
            message = replace(message, node_t_us=clock_us)
        super()._tell(session, message, now_us)


@wrong("node-lower-or-equal-epoch-is-ignored")
class TakesAnEqualEpoch(NodeEnd):
    """Takes an epoch that it has already."""

    def _on_resume(self, frame: Frame, resume: frames.Resume, now_us: int) -> None:
        if self.session is not None and self.session.epoch == resume.epoch:
            self.session.epoch -= 1
        super()._on_resume(frame, resume, now_us)


@wrong("node-frames-of-an-old-epoch-are-dropped")
class KeepsOldKeys(NodeEnd):
    """Still takes what is tagged with the keys of before."""

    before: Tagger | None = None

    def _on_resume(self, frame: Frame, resume: frames.Resume, now_us: int) -> None:
        self.before = None if self.session is None else self.session.into
        super()._on_resume(frame, resume, now_us)

    def _on_session(self, frame: Frame, now_us: int) -> None:
        if self.session is not None and self.before is not None and self.before.fits(frame.body, frame.tag):
            frame = replace(frame, tag=self.session.into.tag(frame.body))
        super()._on_session(frame, now_us)


@wrong("node-new-keys-and-numbers-hold-at-once")
class CountsOnAfterResume(NodeEnd):
    """Takes new keys and goes on with the numbers that it has."""

    def _on_resume(self, frame: Frame, resume: frames.Resume, now_us: int) -> None:
        sequence = 0 if self.session is None else self.session.sequence
        super()._on_resume(frame, resume, now_us)
        if self.session is not None:
            self.session.sequence = sequence


@wrong("node-resume-is-answered-with-both-nonces")
class ResumesWithOneNonce(NodeEnd):
    """Draws its nonce once."""

    def _on_resume(self, frame: Frame, resume: frames.Resume, now_us: int) -> None:
        fresh, self._dice = self._dice, Dice(self.card.serial)
        super()._on_resume(frame, resume, now_us)
        self._dice = fresh


@wrong("node-release-sent-again-is-confirmed-again")
class ForgetsAllWhenReleased(NodeEnd):
    """Keeps nothing of a released session, so that a lost answer stays lost."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        if self.session is not None and self.session.over:
            self.session = None


@wrong("node-released-node-is-silent")
class AnswersWhenReleased(NodeEnd):
    """Keeps on answering in a session that was released."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        session = self.session
        if session is not None and session.over and isinstance(frame.message, frames.Beat):
            self._tell(session, frames.Echo(frame.message.host_t_us, self._node_time_us(now_us), 0), now_us)


@wrong("node-session-is-gone-without-power")
class KeepsItsSessionWithoutPower(NodeEnd):
    """Keeps the session's keys over a loss of power, though its counter begins anew."""

    def restart(self, now_us: int, card: NodeCard | None = None) -> None:
        session = self.session
        super().restart(now_us, card)
        self.session = session


@wrong("node-each-node-keeps-to-its-own-frames")
class LooksAtNoAddress(NodeEnd):
    """Goes by the session number alone: takes its session's frames at any address."""

    def receive(self, frame: bytes, now_us: int) -> None:
        read = codec.read(frame)
        ours = self.session is not None and isinstance(read, Frame) and self.session.ours(read)
        if ours and isinstance(read, Frame) and read.header.kind == Kind.BEAT:
            self._on_session(read, now_us)
            self._arm()
        else:
            super().receive(frame, now_us)


@wrong("node-frame-with-a-field-out-of-range-is-dropped")
class TakesListsThatCannotBe(NodeEnd):
    """Takes what it finds of a list that is too long, shorter than it says, or asks for nothing."""

    def receive(self, frame: bytes, now_us: int) -> None:
        body, session = frame[: -TAG_OCTETS - CRC_OCTETS], self.session
        if session is not None and len(body) > HEADER_OCTETS and body[1] == Kind.AGAIN:
            there = list(struct.iter_unpack("<QH", body[HEADER_OCTETS + 1 :]))
            ranges = tuple((first, max(count, 1)) for first, count in there[:MAX_RANGES])
            if ranges:
                head = body[:HEADER_OCTETS] + bytes([len(ranges)])
                body = head + b"".join(struct.pack("<QH", *one) for one in ranges)
                frame = codec.seal(body + session.into.tag(body))
        super().receive(frame, now_us)


@wrong("node-resume-is-answered-with-both-nonces")
class NumbersItsResumed(NodeEnd):
    """Gives resumed a sequence, as if it were in a lane."""

    def _post(self, due_us: int, frame: bytes) -> None:
        if frame[1] == Kind.RESUMED and self.session is not None:
            body = frame[: HEADER_OCTETS - 4] + b"\1\0\0\0" + frame[HEADER_OCTETS : -TAG_OCTETS - CRC_OCTETS]
            frame = codec.seal(body + self.session.resume.tag(body))
        super()._post(due_us, frame)


@wrong("node-silent-node-flows-again-in-its-session")
class SendsTheSilenceAsData(NodeEnd):
    """Sends all that it took during a silence in data frames when it is woken."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        was, next_sample = self.step, self.stream.next_sample
        super()._on_session(frame, now_us)
        if was is Step.LOST and self.step is Step.FLOW and self.session is not None:
            self.stream.begin(self.session, self.stream.k, next_sample)


@wrong("node-whatever-is-authentic-keeps-a-node-flowing")
class CountsBeatsOnly(NodeEnd):
    """Goes by beats alone when it decides whether its host is there."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        heard_us = self._heard_us
        super()._on_session(frame, now_us)
        if frame.header.kind != Kind.BEAT:
            self._heard_us = heard_us


@wrong("node-clock-does-not-step-at-a-resume")
class SetsItsClockAtAResume(NodeEnd):
    """Sets its clock by 60 ms whenever a new epoch begins."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        out, next_us = super().due(now_us)
        return [self._with_its_clock(frame) for frame in out], next_us

    def _with_its_clock(self, octets: bytes) -> bytes:
        frame, session = codec.read(octets), self.session
        assert isinstance(frame, Frame)
        if session is None or not isinstance(frame.message, frames.Data | frames.Repeat | frames.Echo):
            return octets
        t_us = frame.message.node_t_us + 60_000 * session.epoch
        body = codec.body_of(frame.header, replace(frame.message, node_t_us=t_us))
        return codec.seal(body, session.out.tag(body))
