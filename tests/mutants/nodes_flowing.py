"""Nodes that are wrong in what they send, and send again."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Any

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Header, Kind, Message
from benchsim.link.keys import Tagger
from benchsim.link.limits import HEADER_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.session import Session
from benchsim.link.steps import Step
from tests.mutants.wrong_node import Wrong, enters

ENTERED: list[Wrong] = []
wrong = enters(ENTERED)


@wrong("node-frames-hold-k-rows-of-the-channels-offered")
class SendsHalfFrames(NodeEnd):
    """Agrees on k and sends frames of half as many samples."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        super()._on_prove(frame, prove, now_us)
        if self.session is not None and self.session.data_sequence == 0 and not self.stream.k % 2:
            self.stream.begin(self.session, self.stream.k // 2, self.stream.next_sample)


class Rewrites(NodeEnd):
    """A node whose frames are made anew before they go: for what it says wrongly of itself."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        out, next_us = super().due(now_us)
        return [self._made_anew(frame) for frame in out], next_us

    def _made_anew(self, frame: bytes) -> bytes:
        read = codec.read(frame)
        assert isinstance(read, Frame)
        session = self.session
        return frame if session is None else self.anew(read, session) or frame

    def anew(self, frame: Frame, session: Session) -> bytes | None:
        """The frame as it is said wrongly; None: as it was."""
        return None


def sealed(header: Header, message: Any, tagger: Tagger) -> bytes:
    body = codec.body_of(header, message)
    return codec.seal(body, tagger.tag(body))


@wrong("node-frames-begin-at-whole-multiples-of-k")
class LeavesAFrameForABeat(NodeEnd):
    """Begins its frame anew when the host speaks: the one that was not yet complete is left out."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        if self.step is Step.FLOW and self.session is not None and isinstance(frame.message, frames.Beat):
            k = self.stream.k
            self.stream.begin(self.session, k, self.stream.boundary(now_us, k))


@wrong("node-data-lane-counts-by-one-from-0")
class SkipsSequences(Rewrites):
    """Counts its data frames by two."""

    def anew(self, frame: Frame, session: Session) -> bytes | None:
        if frame.header.kind != Kind.DATA:
            return None
        header = replace(frame.header, sequence=2 * frame.header.sequence)
        return sealed(header, frame.message, session.out)


@wrong("node-control-lane-counts-by-one-from-0")
class CountsBothLanesInOne(NodeEnd):
    """Numbers what it says in one lane by all that it has sent."""

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        session.sequence = max(session.sequence, self.stream.sent + session.sequence)
        super()._tell(session, message, now_us)


@wrong("node-clock-of-the-samples-never-steps")
class SetsItsClock(Rewrites):
    """Sets its clock back in a session."""

    def anew(self, frame: Frame, session: Session) -> bytes | None:
        message = frame.message
        if frame.header.kind != Kind.DATA or frame.header.sequence < 3:
            return None
        assert isinstance(message, frames.Data)
        return sealed(frame.header, replace(message, node_t_us=message.node_t_us - 1_000_000), session.out)


@wrong("node-samples-are-repeated-as-they-were")
class RepeatsOtherSamples(Rewrites):
    """Reads its buffer one sample too far when it repeats."""

    def anew(self, frame: Frame, session: Session) -> bytes | None:
        message = frame.message
        if not isinstance(message, frames.Repeat):
            return None
        octets = self.stream.store.rows(message.first + 1, message.first + 1 + message.rows)[2]
        return sealed(frame.header, replace(message, samples=octets), session.out)


@wrong("node-repeats-go-in-the-control-lane")
class TagsRepeatsWithoutHeader(Rewrites):
    """Tags the payload only of what it repeats."""

    def anew(self, frame: Frame, session: Session) -> bytes | None:
        if frame.header.kind != Kind.REPEAT:
            return None
        return codec.seal(frame.body, session.out.tag(frame.body[HEADER_OCTETS:]))


@wrong("node-samples-are-repeated-as-they-were")
class RepeatsInLongFrames(NodeEnd):
    """Repeats twice k samples a frame, to be done sooner."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        stream = self.stream
        lacking, stream._lacking = stream._lacking, deque()
        out, _ = super().due(now_us)
        stream._lacking = lacking
        if lacking and now_us >= stream._repeat_us:
            k, stream.k = stream.k, 2 * stream.k
            stream._repeat(now_us, out)
            stream.k = k
        self._arm()
        return out, self.wake_us


@wrong("node-repeats-are-spaced")
class RepeatsAllAtOnce(NodeEnd):
    """Leaves no pause between repeats."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        out, next_us = super().due(now_us)
        while self.stream._lacking:
            self.stream._repeat(now_us, out)
        return out, next_us


@wrong("node-new-list-takes-the-place-of-the-old")
class KeepsOldLists(NodeEnd):
    """Adds a new list to the one that it has."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        before = tuple(self.stream._lacking)
        super()._on_session(frame, now_us)
        self.stream._lacking.extendleft(reversed([r for r in before if r not in self.stream._lacking]))


@wrong("node-what-is-too-old-is-gone")
class SaysNothingOfWhatIsGone(NodeEnd):
    """Repeats what it has and leaves the host to guess the rest."""

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if not isinstance(message, frames.Gone):
            super()._tell(session, message, now_us)


@wrong("node-samples-not-sent-yet-are-left-out")
class SaysThatWhatComesIsGone(NodeEnd):
    """Says that it does not have what it does not have yet."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        super()._on_session(frame, now_us)
        session, message = self.session, frame.message
        if isinstance(message, frames.Again) and session is not None:
            coming = [
                (first, count) for first, count in message.ranges if first + count > self.stream.store.end
            ]
            if coming:
                self._tell(session, frames.Gone(tuple(coming)), now_us)


@wrong("node-what-is-too-old-is-gone")
class TellsOneRangeOfWhatIsGone(NodeEnd):
    """Says of the first range only that it is gone."""

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if isinstance(message, frames.Gone):
            message = frames.Gone(message.ranges[:1])
        super()._tell(session, message, now_us)


@wrong("node-echo-and-data-agree-on-the-next-sample")
class EchoesAFrameAhead(NodeEnd):
    """Names the sample behind the frame that it fills as the next one."""

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if isinstance(message, frames.Echo):
            message = replace(message, next_sample=message.next_sample + self.stream.k)
        super()._tell(session, message, now_us)


@wrong("node-frame-is-sent-when-its-last-sample-is-complete")
class SendsAFrameLate(NodeEnd):
    """Sends each frame when the next one is complete: two buffers, and the wrong one goes."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        stream, late_us = self.stream, self.stream.k * SECOND_US // self.card.rate_hz
        before = stream._due_us
        stream._due_us = deque(t + late_us for t in before)
        out, next_us = super().due(now_us)
        gone = len(before) - len(stream._due_us)
        if gone >= 0:
            stream._due_us = deque(list(before)[gone:])
        return out, next_us


@wrong("node-frame-is-sent-when-its-last-sample-is-complete")
class HoldsEachFrameBack(NodeEnd):
    """Counts a frame as sent when it has put it in a queue, and sends it when the next one comes."""

    held = b""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        out, next_us = super().due(now_us)
        said = []
        for frame in out:
            if frame[1] != Kind.DATA:
                said.append(frame)
                continue
            if self.held[6:10] == frame[6:10]:
                said.append(self.held)
            self.held = frame
        return said, next_us


@wrong("node-what-is-partly-too-old-is-partly-repeated")
class CallsWholeRangesGone(NodeEnd):
    """Says of a range that it is gone when its first sample is."""

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if isinstance(message, frames.Gone):
            asked = dict(self.asked)
            message = frames.Gone(tuple((first, asked[first]) for first, _ in message.ranges))
            self.stream._lacking.clear()
        super()._tell(session, message, now_us)

    def _on_session(self, frame: Frame, now_us: int) -> None:
        self.asked = frame.message.ranges if isinstance(frame.message, frames.Again) else ()
        super()._on_session(frame, now_us)
