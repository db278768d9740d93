"""The host that a case plays against a node under test: right in everything but what the case is about."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Data, Kind, RefuseReason
from benchsim.link.limits import EXCHANGE_LIFE_US
from benchsim.link.pairing import HostExchange
from benchsim.link.parts import Expected, HostCard
from benchsim.link.session import Session
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line, name

# A node may take so long for what it is to do at once.
AT_ONCE_US = 50_000


@dataclass(slots=True)
class AsHost:
    """One host.  card: who it says it is."""

    line: Line
    card: HostCard
    address: int

    def exchange(self) -> HostExchange:
        """A new exchange: session number and private value not used before."""
        dice = self.line.dice
        return HostExchange(self.card, self.card.expected[0], dice.below(0xFFFF_FFFF) + 1, dice.octets(32))

    async def offer(self, exchange: HostExchange, why: str = "") -> Frame:
        """Seek until the node offers; the offer is held against the seek.  Raises Differs, NotReached."""
        line, window_us = self.line, self.card.settings.offer_window_us
        for _ in range(self.card.settings.tries):
            line.send(exchange.seek_frame)
            said = await self.answer(exchange, (Kind.OFFER, Kind.REFUSE), window_us)
            if said is None:
                continue
            if isinstance(said.message, frames.Refuse):
                reason = RefuseReason(said.message.reason).name.lower().replace("_", " ")
                if reason == "bound":
                    raise NotReached("the node is bound to another host: recommission it")
                raise Differs(f"it refuses a right seek: {reason}")
            return said
        raise Differs(why or "no offer to a right seek", line.newest)

    async def answer(self, exchange: HostExchange, kinds: Iterable[Kind], within_us: int) -> Frame | None:
        """The next frame of these kinds in an exchange, None when none comes in time."""
        line, wanted = self.line, frozenset(kinds)
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            if frame.header.kind in wanted and frame.header.session == exchange.number:
                if frame.header.address != self.address or frame.header.network != self.card.network:
                    raise Differs(f"{name(frame)} of another address or network in this exchange")
                return frame
        return None

    async def refused(self, exchange: HostExchange, reason: RefuseReason, within_us: int) -> Frame:
        """The refusal that is due in an exchange.  Raises Differs for another, or for none."""
        said = await self.answer(exchange, (Kind.REFUSE, Kind.OFFER, Kind.ACCEPT), within_us)
        wanted = reason.name.lower().replace("_", " ")
        if said is None:
            raise Differs(f"no refuse; due: {wanted}", self.line.newest)
        if not isinstance(said.message, frames.Refuse):
            raise Differs(f"it said {name(said)}; due: refuse, {wanted}")
        if said.message.reason != reason:
            raise Differs(f"refuse for reason {said.message.reason}; due: {int(reason)}, {wanted}")
        return said

    async def pair(self) -> Flow:
        """A whole pairing.  Raises Differs, NotReached."""
        exchange = self.exchange()
        offer = await self.offer(exchange)
        prove = exchange.prove(offer)
        if prove is None:
            raise Differs("its public value is of small order")
        return await self.accepted(exchange, offer, prove)

    async def accepted(self, exchange: HostExchange, offer: Frame, prove: bytes) -> Flow:
        """Prove until the node accepts; its proof is checked."""
        line, settings = self.line, self.card.settings
        for _ in range(settings.tries):
            line.send(prove)
            said = await self.answer(exchange, (Kind.ACCEPT, Kind.REFUSE), settings.answer_timeout_us)
            if said is None:
                continue
            if not isinstance(said.message, frames.Accept):
                raise Differs("it refuses a right proof")
            session = exchange.accepted(said, said.message)
            if session is None:
                raise Differs("the proof of its accept is wrong")
            assert isinstance(offer.message, frames.Offer)
            return Flow(self, session, offer.message, said.message)
        raise Differs("no accept to a right prove", line.newest)


@dataclass(slots=True)
class Flow:
    """A session with the node, as its host keeps it."""

    host: AsHost
    session: Session
    offer: frames.Offer
    accept: frames.Accept
    epoch: int = 0
    beats: list[int] = field(default_factory=list)

    @property
    def line(self) -> Line:
        return self.host.line

    def control(self, message: Any) -> bytes:
        """Send a tagged control frame, and give what was sent."""
        frame = self.session.control_frame(message)
        self.line.send(frame)
        return frame

    def beat(self) -> int:
        """Send a beat; gives the time it carries."""
        t_us = self.line.now_us
        self.control(frames.Beat(t_us))
        self.beats.append(t_us)
        return t_us

    def check(self, frame: Frame) -> None:
        """Hold one frame of the node against the session.  Raises Differs."""
        session, header, what = self.session, frame.header, name(frame)
        if header.kind < frames.FIRST_TAGGED:
            return
        if not session.ours(frame):
            raise Differs(f"{what} of another session, version or network")
        if header.kind == Kind.RESUMED:
            if not session.resume.fits(frame.body, frame.tag):
                raise Differs("the tag of resumed is wrong under the resume key")
            return
        lane = session.data if header.kind == Kind.DATA else session.control
        if not session.into.fits(frame.body, frame.tag):
            raise Differs(f"the tag of {what} is wrong")
        if not lane.fresh(header.sequence):
            raise Differs(f"{what} with a sequence used before: {header.sequence}")
        lane.take(header.sequence)

    async def hear(self, within_us: int) -> Frame | None:
        """The next frame, held against the session."""
        frame = await self.line.hear(within_us)
        if frame is not None:
            self.check(frame)
        return frame

    async def expect(self, kind: Kind, within_us: int, why: str = "") -> Frame:
        """The next frame of a kind in this session; what comes before it is checked and passed over."""
        line = self.line
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == kind:
                return frame
        raise Differs(f"no {kind.name.lower()}{': ' + why if why else ''}", line.newest)

    async def data(self, why: str = "the flow has begun") -> Data:
        """The next data frame.  It may take two frame times."""
        frame_us = self.offer.samples_per_frame * 1_000_000 // self.offer.rate_hz
        said = await self.expect(Kind.DATA, 2 * frame_us + AT_ONCE_US, why)
        assert isinstance(said.message, Data)
        return said.message

    async def echo(self) -> frames.Echo:
        """Beat, and hear the echo of it."""
        t_us = self.beat()
        line = self.line
        end_us = line.now_us + AT_ONCE_US + 2 * line.setting.patience_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if isinstance(frame.message, frames.Echo) and frame.message.host_t_us == t_us:
                return frame.message
        raise Differs("no echo of a beat", line.newest)

    async def release(self) -> None:
        """Let the node go, as well as can be: nothing is judged."""
        self.control(frames.Release(self.line.now_us))
        await self.line.pause(AT_ONCE_US + 2 * self.line.setting.patience_us)
        self.line.forget()


def as_host(line: Line, address: int | None = None, **other: Any) -> AsHost:
    """The host of the setting, or one that differs in `other` (fields of HostCard; cells: of Expected)."""
    setting = line.setting
    at = line.address if address is None else address
    card: dict[str, Any] = {
        "host_id": setting.host_id,
        "network": setting.network,
        "key": setting.key,
        "expected": (Expected(at, other.pop("cells", setting.cells)),),
        "settings": setting.settings,
    }
    return AsHost(line, HostCard(**(card | other)), at)


async def unbound(line: Line, address: int | None = None) -> None:
    """Begin with a node that is bound to nobody, if somebody attends it."""
    at = line.address if address is None else address
    await line.tell(f"recommission {at}")
    await line.pause(2 * line.setting.patience_us)
    line.forget()


async def exchange_over(line: Line) -> None:
    """Wait until no exchange can be alive at the node."""
    await line.pause(EXCHANGE_LIFE_US + line.setting.settings.offer_window_us + 2 * line.setting.patience_us)
    line.forget()


def changed(frame: bytes, **fields: Any) -> bytes:
    """An untagged frame with other fields in header or message, sealed anew."""
    return codec.seal(changed_body(frame, **fields))


def changed_body(frame: bytes, **fields: Any) -> bytes:
    """Header and payload of a right frame with other fields."""
    read = codec.read(frame)
    assert isinstance(read, Frame)
    of_header = {n: v for n, v in fields.items() if n in frames.Header.__dataclass_fields__}
    of_message = {n: v for n, v in fields.items() if n not in of_header}
    return codec.body_of(replace(read.header, **of_header), replace(read.message, **of_message))
