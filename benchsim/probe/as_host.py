"""The host that a case plays against a node under test: right in everything but what the case is about.

It judges by the numbers that frames carry, not by the order in which they come, and leaves each answer the
setting's patience each way: a slow medium spoils no verdict.  What other addresses say is passed over.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Data, Header, Kind, RefuseReason
from benchsim.link.keys import Tagger
from benchsim.link.limits import EXCHANGE_LIFE_US
from benchsim.link.pairing import HostExchange
from benchsim.link.parts import Expected, HostCard
from benchsim.link.session import Session
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line, name

# A node may take so long for what it is to do at once.
AT_ONCE_US = 50_000
# Between beats a node hears nothing: with this beat time none stops while a case waits for its data.
BEAT_US = 10_000_000
# So often a node that had no power is asked whether it is back: about 5 s.
TRIES_AFTER_RESTART = 32
ANSWERS = (Kind.OFFER, Kind.ACCEPT, Kind.REFUSE)


def words(reason: int) -> str:
    """A reason to refuse, as the specification's table names it."""
    return RefuseReason(reason).name.lower().replace("_", " ")


def of_key(refuse: frames.Refuse) -> str:
    """What to ask oneself when a proof is refused for its key."""
    return "; is --key the one in the device?" if refuse.reason == RefuseReason.WRONG_KEY else ""


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

    @property
    def window_us(self) -> int:
        return self.card.settings.offer_window_us

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

    async def offer(self, exchange: HostExchange, why: str = "") -> Frame:
        """Seek until the node offers.  why: what makes an offer due, whomever it was bound to before.

        It may still be busy with what an earlier case left, so it is given an exchange's life.
        Raises Differs, NotReached.
        """
        line = self.line
        end_us = line.now_us + EXCHANGE_LIFE_US + self.window_us + 4 * line.setting.patience_us
        while line.now_us < end_us:
            line.send(exchange.seek_frame)
            said = await self.answer(exchange, (Kind.OFFER, Kind.REFUSE), self.window_us)
            if said is None:
                continue
            if isinstance(said.message, frames.Refuse):
                if said.message.reason == RefuseReason.BOUND and not why:
                    raise NotReached("the node is bound to another host: recommission it")
                due = f"; due: offer, {why}" if why else ""
                raise Differs(f"it refuses a right seek, {words(said.message.reason)}{due}")
            return said
        heard = any(said.by_device for said in line.said)
        why = why or (
            "" if heard else "nothing was heard at all; are --address and --at those of the device?"
        )
        raise Differs(f"no offer to a right seek{': ' + why if why else ''}", line.newest)

    async def refused(self, exchange: HostExchange, reason: RefuseReason, within_us: int) -> frames.Refuse:
        """The refusal that is due in an exchange.  Raises Differs for another, or for none."""
        said = await self.answer(exchange, ANSWERS, within_us)
        wanted = words(reason)
        if said is None:
            raise Differs(f"no refuse; due: {wanted}", self.line.newest)
        if not isinstance(said.message, frames.Refuse):
            raise Differs(f"it said {name(said)}; due: refuse, {wanted}")
        if said.message.reason != reason:
            raise Differs(f"refuse: {words(said.message.reason)}; due: {wanted}")
        return said.message

    async def unanswered(self, exchange: HostExchange, within_us: int, why: str) -> None:
        """Nothing is said in this exchange for so long.  Raises Differs."""
        said = await self.answer(exchange, ANSWERS, within_us)
        if said is not None:
            raise Differs(f"it said {name(said)}, though {why}")

    def proof(self, exchange: HostExchange, offer: Frame) -> bytes:
        """The prove that answers an offer.  Raises Differs for an offer that nobody can answer."""
        prove = exchange.prove(offer)
        if prove is None:
            raise Differs("its public value is of small order")
        return prove

    async def pair(self, why: str = "") -> Flow:
        """A whole pairing.  Raises Differs, NotReached."""
        exchange = self.exchange()
        offer = await self.offer(exchange, why)
        return await self.accepted(exchange, offer, self.proof(exchange, offer))

    async def accepted(self, exchange: HostExchange, offer: Frame, prove: bytes) -> Flow:
        """Prove until the node accepts; its proof is checked."""
        line, settings = self.line, self.card.settings
        for _ in range(settings.tries):
            line.send(prove)
            said = await self.answer(exchange, (Kind.ACCEPT, Kind.REFUSE), settings.answer_timeout_us)
            if said is None:
                continue
            if isinstance(said.message, frames.Refuse):
                raise Differs(f"it refuses a right proof: {words(said.message.reason)}{of_key(said.message)}")
            return self.flow(exchange, offer, said)
        raise Differs("no accept to a right prove", line.newest)

    def flow(self, exchange: HostExchange, offer: Frame, said: Frame) -> Flow:
        """The session that an accept makes.  Raises Differs when its proof is wrong."""
        assert isinstance(offer.message, frames.Offer)
        assert isinstance(said.message, frames.Accept)
        session = exchange.accepted(said, said.message)
        if session is None:
            raise Differs("the proof of its accept is wrong")
        line = self.line
        settled_us = line.now_us + 2 * line.setting.patience_us
        return Flow(self, session, offer.message, said.message, said, settled_us)


@dataclass(slots=True)
class Flow:
    """A session with the node, as its host keeps it.

    settled_us: until then frames of before (another session, the epoch before) may still be on their way.
    """

    host: AsHost
    session: Session
    offer: frames.Offer
    accept: frames.Accept
    accepted: Frame
    settled_us: int
    _before: Tagger | None = field(default=None, repr=False)

    @property
    def line(self) -> Line:
        return self.host.line

    @property
    def k(self) -> int:
        return self.offer.samples_per_frame

    @property
    def frame_us(self) -> int:
        """Time from one data frame to the next."""
        return self.k * SECOND_US // self.offer.rate_hz

    @property
    def way_us(self) -> int:
        """By when what a node does at once has come back."""
        return AT_ONCE_US + 2 * self.line.setting.patience_us

    # -- what the host says --------------------------------------------------------------------------

    def frame(self, message: Any, tagger: Tagger | None = None, **header: Any) -> bytes:
        """A tagged frame with the next sequence number of the control lane, not sent; the number is gone.

        tagger: another key than the right one.  header: fields that differ.
        """
        session = self.session
        head = replace(session.header(message.KIND, session.sequence), **header)
        session.sequence += 1
        return self.sealed(codec.body_of(head, message), tagger)

    def sealed(self, body: bytes, tagger: Tagger | None = None) -> bytes:
        """Header and payload with tag and CRC."""
        return codec.seal(body, (tagger or self.session.out).tag(body))

    def control(self, message: Any) -> bytes:
        """Send a tagged control frame, and give what was sent."""
        frame = self.session.control_frame(message)
        self.line.send(frame)
        return frame

    def beat(self) -> int:
        """Send a beat; gives the time it carries."""
        t_us = self.line.now_us
        self.control(frames.Beat(t_us))
        return t_us

    # -- what the node says --------------------------------------------------------------------------

    def takes(self, frame: Frame) -> bool:
        """Whether a frame is of this node and session; it is held against the session.  Raises Differs."""
        session, header, what = self.session, frame.header, name(frame)
        if header.address != self.host.address:
            return False
        if header.kind < frames.FIRST_TAGGED:
            return True
        settled = self.line.now_us > self.settled_us
        if not session.ours(frame):
            if settled:
                raise Differs(f"{what} of another session, version or network")
            return False
        if header.kind == Kind.RESUMED:
            if not session.resume.fits(frame.body, frame.tag):
                raise Differs("the tag of resumed is wrong under the resume key")
            return True
        lane = session.data if header.kind == Kind.DATA else session.control
        if not session.into.fits(frame.body, frame.tag):
            if not settled and self._before is not None and self._before.fits(frame.body, frame.tag):
                return False
            raise Differs(f"the tag of {what} is wrong")
        if not lane.fresh(header.sequence):
            raise Differs(f"{what} with a sequence used before: {header.sequence}")
        lane.take(header.sequence)
        return True

    async def hear(self, within_us: int) -> Frame | None:
        """The next frame of this node, held against the session."""
        end_us = self.line.now_us + within_us
        while (frame := await self.line.hear(end_us - self.line.now_us)) is not None:
            if self.takes(frame):
                return frame
        return None

    async def heard(self, for_us: int) -> list[Frame]:
        """All frames of this node in so long a time."""
        end_us, all_of_them = self.line.now_us + for_us, []
        while (frame := await self.hear(end_us - self.line.now_us)) is not None:
            all_of_them.append(frame)
        return all_of_them

    async def silence(self, kinds: Iterable[Kind], for_us: int, why: str) -> None:
        """For so long the node says nothing of these kinds.  Raises Differs."""
        forbidden = frozenset(kinds)
        end_us = self.line.now_us + for_us
        while (frame := await self.hear(end_us - self.line.now_us)) is not None:
            if frame.header.kind in forbidden:
                raise Differs(f"it said {name(frame)}, though {why}")

    async def expect(self, kind: Kind, within_us: int, why: str = "") -> Frame:
        """The next frame of a kind in this session; what comes before it is checked and passed over."""
        line = self.line
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == kind:
                return frame
        raise Differs(f"no {kind.name.lower()}{': ' + why if why else ''}", line.newest)

    async def data(self, why: str = "the flow has begun") -> Frame:
        """The next data frame.  It may take two frame times."""
        return await self.expect(Kind.DATA, 2 * self.frame_us + AT_ONCE_US, why)

    async def several(self, count: int) -> list[Frame]:
        """So many data frames, by their first samples."""
        came = [await self.data() for _ in range(count)]
        return sorted(came, key=first_of)

    async def echo(self, why: str = "") -> frames.Echo:
        """Beat, and hear the echo of it."""
        t_us = self.beat()
        line = self.line
        end_us = line.now_us + self.way_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if isinstance(frame.message, frames.Echo) and frame.message.host_t_us == t_us:
                return frame.message
        raise Differs(f"no echo of a beat{': ' + why if why else ''}", line.newest)

    async def resume(self, epoch: int, why: str = "") -> frames.Resumed:
        """Begin an epoch, as a right host does: it turns when the node has."""
        nonce = self.line.dice.octets(16)
        self.line.send(self.session.resume_frame(frames.Resume(epoch, nonce)))
        frame = await self.expect(Kind.RESUMED, AT_ONCE_US, why)
        said = frame.message
        assert isinstance(said, frames.Resumed)
        if frame.header.sequence != 0:
            raise Differs("resumed with a sequence: it is in no lane")
        if (said.epoch, said.host_nonce) != (epoch, nonce):
            raise Differs("resumed with another epoch or nonce than resume had")
        self.turn(epoch, nonce, said.nonce)
        return said

    def turn(self, epoch: int, nonce: bytes, nodes_nonce: bytes) -> None:
        """The new keys hold; what was tagged with the old ones may still be on its way."""
        self._before = self.session.into
        self.session.turn(epoch, nonce, nodes_nonce)
        self.settled_us = self.line.now_us + 2 * self.line.setting.patience_us

    async def release(self) -> None:
        """Let the node go, as well as can be: nothing is judged."""
        self.control(frames.Release(self.line.now_us))
        await self.line.pause(self.way_us)
        self.line.forget()


def first_of(frame: Frame) -> int:
    """The first sample of a data or repeat frame."""
    assert isinstance(frame.message, Data)
    return frame.message.first


def as_host(line: Line, address: int | None = None, **other: Any) -> AsHost:
    """The host of the setting, or one that differs in `other`.

    other: fields of HostCard or LinkSettings; cells: of Expected.  beat_us is long unless it is given.
    """
    setting = line.setting
    at = line.address if address is None else address
    expected = Expected(at, other.pop("cells", setting.cells))
    of_card = {n: other.pop(n) for n in tuple(other) if n in HostCard.__dataclass_fields__}
    card: dict[str, Any] = {
        "host_id": setting.host_id,
        "network": setting.network,
        "key": setting.key,
        "expected": (expected,),
        "settings": replace(setting.settings, **({"beat_us": BEAT_US} | other)),
    }
    return AsHost(line, HostCard(**(card | of_card)), at)


def another_host(line: Line, address: int | None = None, **other: Any) -> AsHost:
    """A host of another number, with the same key and network."""
    return as_host(line, address, host_id=line.setting.host_id ^ 0xFF, **other)


def refuse_of(frame: Frame, asked: Header) -> None:
    """A refuse carries session, network and version of the frame it answers.  Raises Differs."""
    said = frame.header
    if (said.session, said.network, said.version) != (asked.session, asked.network, asked.version):
        raise Differs("refuse with another session, network or version than the frame that it answers")


async def unbound(line: Line, address: int | None = None) -> bool:
    """Begin with a node that is bound to nobody; whether somebody attends it and has done so."""
    at = line.address if address is None else address
    attended = await line.tell(f"recommission {at}") is not None
    await line.pause(2 * line.setting.patience_us)
    line.forget()
    return attended


async def restarted(line: Line, address: int | None = None) -> None:
    """Have the power of a node cut, and wait until it is back.  Raises NotReached.

    Whether it is back shows in a refusal, which moves nothing: of a prove that names nobody.
    """
    at = line.address if address is None else address
    await line.ask(f"restart {at}")
    host = as_host(line, at)
    for _ in range(TRIES_AFTER_RESTART):
        exchange = host.exchange()
        header = Header(1, Kind.PROVE, host.card.network, at, 0, exchange.number, 0)
        line.send(codec.seal(codec.body_of(header, frames.Prove(0, bytes(16)))))
        if await host.answer(exchange, (Kind.REFUSE,), AT_ONCE_US) is not None:
            break
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
