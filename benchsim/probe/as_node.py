"""The node that a case plays against a host under test: right in everything but what the case is about."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from typing import Any

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, data, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Header, Kind, RefuseReason
from benchsim.link.pairing import NodeExchange
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line, name

SERIAL = 0x5200_0000_0000_0000
# A host that nobody attends is given so long to seek by itself.
SEEKS_BY_ITSELF_US = 10 * SECOND_US
CLOCK_AHEAD_US = 5_000_000


@dataclass(slots=True)
class AsNode:
    """One node.  card: who it says it is."""

    line: Line
    card: NodeCard

    async def sought(self) -> Frame:
        """Have the host pair, and hear its seek for this address.  Raises NotReached, Differs."""
        line = self.line
        line.forget()
        attended = await line.tell(f"pair {self.card.strap}") is not None
        seek = await self.seek(SECOND_US if attended else SEEKS_BY_ITSELF_US)
        if seek is None and attended:
            raise Differs(f"asked to pair, it does not seek address {self.card.strap}", line.newest)
        if seek is None:
            raise NotReached(f"the host does not seek address {self.card.strap}: ask it to pair")
        return seek

    async def seek(self, within_us: int) -> Frame | None:
        """The next seek for this address; None when there is none in time."""
        line = self.line
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == Kind.SEEK and frame.header.address == self.card.strap:
                if frame.header.network != self.card.network:
                    raise Differs(f"it seeks in network {frame.header.network}, not {self.card.network}")
                return frame
        return None

    def exchange(self, seek: Frame, version: int = 1) -> NodeExchange:
        """What this node answers a seek with."""
        assert isinstance(seek.message, frames.Seek)
        return NodeExchange(
            self.card, seek.message, seek.body, seek.header.session, version, self.line.now_us,
            self.line.dice.octets(32),
        )  # fmt: skip

    def refuse(self, asked: Header, reason: RefuseReason, **other: Any) -> None:
        """Say no in the version, network and session of whoever asked.  other: fields that differ."""
        card = self.card
        said = Header(asked.version, Kind.REFUSE, asked.network, card.strap, FROM_NODE, asked.session, 0)
        values: dict[str, Any] = {
            "reason": reason,
            "serial": card.serial,
            "network": card.network,
            "version_low": card.versions[0],
            "version_high": card.versions[1],
        }
        self.line.send(codec.seal(codec.body_of(said, frames.Refuse(**(values | other)))))

    async def prove(self, exchange: NodeExchange, within_us: int | None = None) -> Frame | None:
        """The host's prove in an exchange; None when none comes: by the end of its offer window."""
        line = self.line
        wait_us = exchange.seek.offer_window_us if within_us is None else within_us
        end_us = line.now_us + wait_us + 2 * line.setting.patience_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == Kind.PROVE and frame.header.session == exchange.number:
                return frame
        return None

    async def proven(self, exchange: NodeExchange, next_sample: int = 0) -> tuple[Frame, Session]:
        """Offer, hear the prove and hold it against the exchange.  Nothing is accepted yet."""
        self.line.send(exchange.offer_frame)
        prove = await self.prove(exchange)
        if prove is None:
            raise Differs("no prove for a right offer", self.line.newest)
        assert isinstance(prove.message, frames.Prove)
        if prove.message.serial != self.card.serial or not exchange.ours(prove.header):
            raise Differs("its prove is not for the node that offered")
        session = exchange.proven(prove, prove.message, next_sample)
        if session is None:
            raise Differs("the proof of its prove is wrong")
        return prove, session

    async def pair(self, next_sample: int = 0) -> NodeFlow:
        """A whole pairing.  Raises Differs, NotReached."""
        exchange = self.exchange(await self.sought())
        _, session = await self.proven(exchange, next_sample)
        self.line.send(exchange.accept_frame)
        return NodeFlow(self, session, exchange, next_sample)


@dataclass(slots=True)
class NodeFlow:
    """A session with the host, as its node keeps it.  next: the first sample not sent yet."""

    node: AsNode
    session: Session
    exchange: NodeExchange
    next: int
    heard: list[Frame] = field(default_factory=list)

    @property
    def line(self) -> Line:
        return self.node.line

    @property
    def k(self) -> int:
        return self.exchange.samples_per_frame

    @property
    def frame_us(self) -> int:
        """Time from one data frame to the next."""
        return self.k * SECOND_US // self.node.card.rate_hz

    def node_time_us(self) -> int:
        """The node's clock now."""
        return self.line.now_us + CLOCK_AHEAD_US

    def samples(self, first: int, kind: Kind = Kind.DATA, rows: int | None = None, status: int = 0) -> bytes:
        """One frame of samples from `first` on, with the next sequence number of its lane; not sent."""
        session, channels = self.session, self.node.card.channels
        count = self.k if rows is None else rows
        counts = [
            100_000 + (first + row) % 64 + channel for row in range(count) for channel in range(channels)
        ]
        cut = (
            CLOCK_AHEAD_US + first * SECOND_US // self.node.card.rate_hz,
            bytes([status] * channels),
            struct.pack(f"<{len(counts)}i", *counts),
        )
        if kind is Kind.DATA:
            sequence, session.data_sequence = session.data_sequence, session.data_sequence + 1
        else:
            sequence, session.sequence = session.sequence, session.sequence + 1
        return data.make(session, kind, sequence, first, cut, count)

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

    def check(self, frame: Frame) -> None:
        """Hold one frame of the host against the session.  Raises Differs."""
        session, header, what = self.session, frame.header, name(frame)
        if header.kind < frames.FIRST_TAGGED or header.address != self.node.card.strap:
            return
        if not session.ours(frame):
            raise Differs(f"{what} of another session, version or network")
        if header.kind == Kind.RESUME:
            if not session.resume.fits(frame.body, frame.tag):
                raise Differs("the tag of resume is wrong under the resume key")
            return
        if not session.into.fits(frame.body, frame.tag):
            raise Differs(f"the tag of {what} is wrong")
        if not session.control.fresh(header.sequence):
            raise Differs(f"{what} with a sequence used before: {header.sequence}")
        session.control.take(header.sequence)

    def echo(self, beat: Frame) -> None:
        """Answer a beat."""
        assert isinstance(beat.message, frames.Beat)
        self.control(frames.Echo(beat.message.host_t_us, self.node_time_us(), self.next))

    async def run(self, for_us: int, until: Kind | None = None, echoes: bool = True) -> Frame | None:
        """Send data in its time and echo beats; what the host says meanwhile is checked and kept in heard.

        until: stop at, and give, the first frame of this kind.  echoes: whether beats are answered.
        """
        line = self.line
        end_us, next_us = line.now_us + for_us, line.now_us + self.frame_us
        while line.now_us < end_us:
            frame = await line.hear(min(next_us, end_us) - line.now_us)
            if line.now_us >= next_us:
                self.send_next()
                next_us += self.frame_us
            if frame is None:
                continue
            self.check(frame)
            self.heard.append(frame)
            if frame.header.kind == Kind.BEAT and echoes and frame.header.session == self.session.number:
                self.echo(frame)
            if until is not None and frame.header.kind == until:
                return frame
        return None


def as_node(line: Line, address: int | None = None, **other: Any) -> AsNode:
    """The node of the setting at an address, or one that differs in `other` (fields of NodeCard)."""
    setting = line.setting
    at = line.address if address is None else address
    card: dict[str, Any] = {
        "serial": SERIAL + at,
        "strap": at,
        "network": setting.network,
        "key": setting.key,
        "channels": max(setting.cells, 1),
        "fingerprint": bytes([0x40 + at] * 8),
    }
    return AsNode(line, NodeCard(**(card | other)))


async def state(line: Line, address: int | None = None) -> str | None:
    """What the host says of an address ("failed: wrong key"); None when it does not say."""
    return await line.tell(f"state {line.address if address is None else address}")


async def must_say(line: Line, *words: str) -> None:
    """The host tells one of these of the first address, if it tells anything.  Raises Differs."""
    said = await state(line)
    if said is not None and not any(said.startswith(w) or said.endswith(w) for w in words):
        raise Differs(f'it says "{said}" of the address; right: {" or ".join(words)}', line.newest)
