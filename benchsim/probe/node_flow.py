"""A session with a host under test, as its node keeps it: right frames, and such as no right node sends.

What the host says is held against the session as it is heard; what a case is about it asks for itself.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Header, Kind
from benchsim.link.keys import Tagger
from benchsim.link.limits import (
    AGAIN_GRACE_US,
    FIRST_BEAT_US,
    FIRST_BEATS,
    LIVENESS_MARGIN_US,
    NO_NUMBER,
    TRIAL_FRAMES,
    TRIAL_US,
)
from benchsim.link.pairing import NodeExchange
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name

# A host may take so long for what it is to do at once.
AT_ONCE_US = 50_000
CLOCK_AHEAD_US = 5_000_000
BEATS_ONLY = frozenset({Kind.BEAT})


class Took(NamedTuple):
    """A frame of the host in this session.  t_us: when it was heard.  at: its index among what was said."""

    t_us: int
    at: int
    frame: Frame


@dataclass(slots=True)
class NodeFlow:
    """One session.  next: the first sample not sent yet.  heard: what the host said in it.

    comes: whether the data frame of this number is sent, or left out as if it were lost.
    """

    line: Line
    card: NodeCard
    session: Session
    exchange: NodeExchange
    next: int
    heard: list[Took] = field(default_factory=list)
    next_us: int = 0
    comes: Callable[[int], bool] | None = None
    _old: Tagger | None = None
    _old_until_us: int = 0

    def __post_init__(self) -> None:
        self.next_us = self.line.now_us + self.frame_us

    @property
    def k(self) -> int:
        return self.exchange.samples_per_frame

    @property
    def frame_us(self) -> int:
        """Time from one data frame to the next."""
        return self.k * SECOND_US // self.card.rate_hz

    @property
    def liveness_us(self) -> int:
        """After so long a silence the host calls the node lost (section 7)."""
        return max(self.line.setting.settings.liveness_us, 2 * self.frame_us + LIVENESS_MARGIN_US)

    @property
    def beat_us(self) -> int:
        return self.exchange.seek.beat_us

    @property
    def trial_us(self) -> int:
        """So long the first samples of a pairing are on trial (section 4, step 6)."""
        return max(TRIAL_FRAMES * self.frame_us, TRIAL_US)

    @property
    def asks_within_us(self) -> int:
        """So long after a frame behind a gap the host has asked for it, patience included."""
        return AGAIN_GRACE_US + AT_ONCE_US + 2 * self.line.setting.patience_us

    def those(self, kind: Kind) -> list[Took]:
        """What was heard of a kind."""
        return [took for took in self.heard if took.frame.header.kind == kind]

    @property
    def beat(self) -> Took:
        """The newest beat.  Raises Differs when there was none."""
        beats = self.those(Kind.BEAT)
        if not beats:
            raise Differs("no beat since the flow began", self.line.newest)
        return beats[-1]

    # -- what is said --------------------------------------------------------------------------------

    def samples(self, first: int, of: Kind = Kind.DATA, rows: int | None = None, **other: Any) -> bytes:
        """One frame of samples from `first` on, with the next sequence number of its lane; not sent.

        other: fields of header or message that differ, and as in sealed().
        """
        session = self.session
        if of is Kind.DATA:
            sequence, session.data_sequence = session.data_sequence, session.data_sequence + 1
        else:
            sequence, session.sequence = session.sequence, session.sequence + 1
        return self.made(first, of, rows, **({"sequence": sequence} | other))

    def made(self, first: int, of: Kind = Kind.DATA, rows: int | None = None, **other: Any) -> bytes:
        """The same without using up a sequence number: the one that comes next, if none is given."""
        count = self.k if rows is None else rows
        channels = int(other.get("channels", self.card.channels))
        counts = [
            100_000 + (first + row) % 64 + channel for row in range(count) for channel in range(channels)
        ]
        node_t_us = min(CLOCK_AHEAD_US + first * SECOND_US // self.card.rate_hz, NO_NUMBER - 1)
        message = (frames.Data if of is Kind.DATA else frames.Repeat)(
            first, node_t_us, count, channels, bytes(channels), struct.pack(f"<{len(counts)}i", *counts)
        )
        session = self.session
        sequence = session.data_sequence if of is Kind.DATA else session.sequence
        return self.sealed(message, **({"sequence": sequence} | other))

    def sealed(
        self, message: Any, tag: Callable[[bytes], bytes] | None = None, more: bytes = b"", **other: Any
    ) -> bytes:
        """Any tagged frame.  tag: of a body, if not the right one.  more: octets behind the payload."""
        s = self.session
        header = Header(s.version, message.KIND, s.network, s.address, FROM_NODE, s.number, s.sequence)
        of_header = {n: v for n, v in other.items() if n in Header.__dataclass_fields__}
        of_message = {n: v for n, v in other.items() if n not in of_header}
        body = codec.body_of(replace(header, **of_header), replace(message, **of_message)) + more
        return codec.seal(body, s.out.tag(body) if tag is None else tag(body))

    def send_next(self) -> bytes:
        """Send the next data frame."""
        frame = self.samples(self.next)
        self.next += self.k
        self.line.send(frame)
        return frame

    def skip(self, frames_left_out: int = 1) -> tuple[int, int]:
        """Leave out so many data frames, as if they were lost: first sample and count."""
        first = self.next
        self.next += frames_left_out * self.k
        self.session.data_sequence += frames_left_out
        return first, frames_left_out * self.k

    def control(self, message: Any) -> bytes:
        """Send a tagged control frame, and give what was sent."""
        frame = self.session.control_frame(message)
        self.line.send(frame)
        return frame

    def repeat(self, first: int, rows: int) -> None:
        """Send samples again, at most k in a frame."""
        for start in range(first, first + rows, self.k):
            count = min(self.k, first + rows - start)
            self.line.send(self.samples(start, Kind.REPEAT, count))

    def echo_of(self, beat: Frame, **other: Any) -> frames.Echo:
        """The answer to a beat."""
        assert isinstance(beat.message, frames.Beat)
        said = frames.Echo(beat.message.host_t_us, self.line.now_us + CLOCK_AHEAD_US, self.next)
        return replace(said, **other)

    def resumed_of(self, resume: Frame, **other: Any) -> frames.Resumed:
        """The answer to a resume."""
        asked = resume.message
        assert isinstance(asked, frames.Resume)
        said = frames.Resumed(asked.epoch, asked.nonce, self.line.dice.octets(16), self.next)
        return replace(said, **other)

    def take_up(self, resume: Frame, **other: Any) -> bytes:
        """Agree to a resume and turn: new keys, sequences from 0.  Gives what was sent."""
        line, session, said = self.line, self.session, self.resumed_of(resume, **other)
        frame = session.resume_frame(said)
        line.send(frame)
        self._old, self._old_until_us = session.into, line.now_us + AT_ONCE_US + 2 * line.setting.patience_us
        session.turn(said.epoch, said.host_nonce, said.nonce)
        return frame

    # -- what is heard -------------------------------------------------------------------------------

    def take(self, frame: Frame) -> Took | None:
        """Hold a frame of the host against the session and keep it; None when it is not of it, or was
        said before the host knew of new keys.  Raises Differs."""
        header, line = frame.header, self.line
        if header.address != self.card.strap or not self._check(frame):
            return None
        at = line.shown_by
        assert at is not None
        took = Took(line.said[at].t_us, at, frame)
        self.heard.append(took)
        return took

    def _check(self, frame: Frame) -> bool:
        session, header, what = self.session, frame.header, name(frame)
        if header.kind == Kind.PROVE and frame.body == self.exchange.prove_body:
            self.line.send(self.exchange.accept_frame)  # said before it heard of the first
            return False
        if header.kind < frames.FIRST_TAGGED:
            return True
        if not session.ours(frame):
            raise Differs(f"{what} of another session, version or network")
        if header.kind == Kind.RESUME:
            if not session.resume.fits(frame.body, frame.tag):
                raise Differs("the tag of resume is wrong under the resume key")
            return True
        if not session.into.fits(frame.body, frame.tag):
            if self._old and self.line.now_us <= self._old_until_us and self._old.fits(frame.body, frame.tag):
                return False
            raise Differs(f"the tag of {what} is wrong")
        if not session.control.fresh(header.sequence):
            raise Differs(f"{what} with a sequence used before: {header.sequence}")
        session.control.take(header.sequence)
        return True

    # -- whole stretches -----------------------------------------------------------------------------

    def keep_pace(self) -> None:
        """Send the data that is due; what a silence left out is not made up for."""
        now_us = self.line.now_us
        if now_us - self.next_us > 2 * self.frame_us:
            self.next_us = now_us + self.frame_us
        while self.next_us <= now_us:
            if self.comes is None or self.comes(self.next // self.k):
                self.send_next()
            else:
                self.skip()
            self.next_us += self.frame_us

    async def run(
        self,
        for_us: int,
        until: Collection[Kind] = (),
        echoes: bool = True,
        only: Collection[Kind] | None = None,
        why: str = "",
    ) -> Took | None:
        """Send data in its time and echo beats; what the host says meanwhile is checked and kept.

        until: stop at, and give, the first frame of these kinds.  echoes: whether beats are answered.
        only: what may be said meanwhile, and why.  Raises Differs.
        """
        return await together((self,), for_us, until, echoes, only, why)

    async def clean(self, why: str, for_us: int | None = None) -> None:
        """Go on for so long, by default until a gap would have been asked for; only beats may be said."""
        span_us = 2 * self.frame_us + self.asks_within_us if for_us is None else for_us
        await self.run(span_us, only=BEATS_ONLY, why=why)

    async def begun(self) -> None:
        """Run through the beats with which a flow begins."""
        await self.run(FIRST_BEATS * FIRST_BEAT_US + self.line.setting.patience_us)

    async def wait(
        self, kind: Kind, within_us: int, why: str, never: Collection[Kind] = (), echoes: bool = False
    ) -> Took:
        """Say nothing until the host says a frame of this kind, and none of `never`.  Raises Differs."""
        line = self.line
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            took = self.take(frame)
            if took is None:
                continue
            if frame.header.kind in never:
                raise Differs(f'it said "{name(frame)}" where "{kind.name.lower()}" is due: {why}')
            if frame.header.kind == Kind.BEAT and echoes:
                self.control(self.echo_of(frame))
            if frame.header.kind == kind:
                return took
        raise Differs(f"no {kind.name.lower()}: {why}", line.newest)

    async def wait_nothing(self, for_us: int, why: str) -> None:
        """Say nothing for so long; nothing may be said meanwhile.  Raises Differs."""
        line = self.line
        end_us = line.now_us + for_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            if self.take(frame) is not None:
                raise Differs(f'it said "{name(frame)}", though {why}')

    async def asked(self, *lacks: tuple[int, int], why: str = "", echoes: bool = True) -> Took:
        """Go on until the host asks for exactly these samples.  Raises Differs."""
        took = await self.run(2 * self.frame_us + self.asks_within_us, (Kind.AGAIN,), echoes)
        if took is None:
            because = f": {why}" if why else ""
            raise Differs(f"it does not ask again for {listed(lacks)}{because}", self.line.newest)
        asked = ranges_of(took.frame)
        if asked != joined(lacks):
            raise Differs(f"it asks again for {listed(asked)}; it lacks {listed(lacks)}", took.at)
        return took

    async def alive(self, why: str) -> None:
        """The host still watches this flow: with nothing to hear it beats.  Raises Differs."""
        within_us = min(self.beat_us, self.liveness_us // 2) + AT_ONCE_US
        beat = await self.wait(Kind.BEAT, within_us, why, never=(Kind.SEEK, Kind.PROVE, Kind.RESUME))
        self.control(self.echo_of(beat.frame))

    async def lost(self) -> Took:
        """Say nothing until the host takes the session up: its first resume."""
        why = f"nothing was said for {self.liveness_us // 1000} ms"
        return await self.wait(Kind.RESUME, self.liveness_us + AT_ONCE_US, why, never=(Kind.SEEK,))


async def together(
    flows: Sequence[NodeFlow],
    for_us: int,
    until: Collection[Kind] = (),
    echoes: bool = True,
    only: Collection[Kind] | None = None,
    why: str = "",
) -> Took | None:
    """Several flows at once, as NodeFlow.run does it with one."""
    line = flows[0].line
    end_us = line.now_us + for_us
    while line.now_us < end_us:
        for flow in flows:
            flow.keep_pace()
        wake_us = min(end_us, *(flow.next_us for flow in flows))
        frame = await line.hear(wake_us - line.now_us)
        took = None if frame is None else next((t for f in flows if (t := f.take(frame)) is not None), None)
        if frame is None or took is None:
            continue
        kind = frame.header.kind
        if only is not None and kind not in only:
            raise Differs(f'it said "{name(frame)}"{", though " + why if why else ""}', took.at)
        if kind == Kind.BEAT and echoes:
            of = next(f for f in flows if f.card.strap == frame.header.address)
            of.control(of.echo_of(frame))
        if kind in until:
            return took
    return None


def ranges_of(again: Frame) -> tuple[tuple[int, int], ...]:
    """What a frame asks for, in order and joined."""
    assert isinstance(again.message, frames.Again)
    return joined(again.message.ranges)


def joined(ranges: Collection[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The same samples in order; ranges without anything between them are one (gaps that touch may be)."""
    merged: list[tuple[int, int]] = []
    for first, count in sorted(ranges):
        before, so_far = merged[-1] if merged else (0, 0)
        if merged and first <= before + so_far:
            merged[-1] = (before, max(so_far, first + count - before))
        else:
            merged.append((first, count))
    return tuple(merged)


def listed(ranges: Collection[tuple[int, int]]) -> str:
    """Ranges of samples for people."""
    return ", ".join(f"{first} to {first + count - 1}" for first, count in ranges)
