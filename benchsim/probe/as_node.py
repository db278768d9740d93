"""The node that a case plays against a host under test: right in everything but what the case is about."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, OF_NODE, Header, Kind, RefuseReason
from benchsim.link.pairing import NodeExchange
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import SOON, Line
from benchsim.probe.node_flow import AT_ONCE_US, NodeFlow

SERIAL = 0x5200_0000_0000_0000
RATE_HZ = 80
OTHER_SERIAL = 0x5300_0000_0000_0000
# A host that nobody attends is given so long to seek by itself, a person to do what was asked for.
SEEKS_BY_ITSELF_US = 10 * SECOND_US
OF_HOST = frozenset(Kind) - OF_NODE
# So long an address that is given up is watched: less than the absent pause.
QUIET_US = 150_000


@dataclass(slots=True)
class AsNode:
    """One node.  card: who it says it is.

    passed_over: seeks that came before there was word that the host was asked to pair.  slow: whether it was
    asked by a person, or by nobody.
    """

    line: Line
    card: NodeCard
    passed_over: int = 0
    slow: bool = False

    # -- what is heard -------------------------------------------------------------------------------

    async def hear(self, within_us: int) -> Frame | None:
        """The next frame for this address; None when there is none in time."""
        line = self.line
        end_us = line.now_us + within_us
        while (frame := await line.hear(end_us - line.now_us)) is not None:
            if frame.header.address == self.card.strap:
                return frame
        return None

    async def sought(self, asked: bool = False) -> Frame:
        """Have the host pair, and hear its seek for this address.  Raises NotReached, Differs.

        asked: a host that seeks by itself will not do: somebody has to ask it.
        """
        line, at = self.line, self.card.strap
        line.forget()
        answer = await line.tell(f"pair {at}")
        if asked and answer is None:
            raise NotReached(f"nobody asks the host to pair address {at}")
        self.slow = answer is None or answer == SOON
        seek = await self._fresh_seek(SEEKS_BY_ITSELF_US if self.slow else SECOND_US, lets_go=answer is None)
        if seek is not None:
            return seek
        if self.slow:
            raise NotReached(f"the host does not seek address {at}: ask it to pair")
        if self.passed_over:
            raise NotReached(f"the host had sought address {at} before word came that it was asked to pair")
        raise Differs(f"asked to pair, it does not seek address {at}", line.newest)

    async def _fresh_seek(self, within_us: int, lets_go: bool) -> Frame | None:
        """The next seek that came just now: an answer to one that came earlier would be late."""
        line = self.line
        fresh_us = line.now_us - line.setting.patience_us
        while (seek := await self.seek(within_us, lets_go)) is not None:
            if line.shown_by is None or line.said[line.shown_by].t_us >= fresh_us:
                break
            self.passed_over += 1
        return seek

    async def seek(self, within_us: int, lets_go: bool = False) -> Frame | None:
        """The next seek for this address; None when there is none in time.

        lets_go: a host that takes an older session up meanwhile is told that there is none.
        """
        line = self.line
        end_us = line.now_us + within_us + 2 * line.setting.patience_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == Kind.RESUME and lets_go:
                self.refuse(frame.header, RefuseReason.NO_SESSION)
            if frame.header.kind == Kind.SEEK:
                if frame.header.network != self.card.network:
                    raise Differs(f"it seeks in network {frame.header.network}, not {self.card.network}")
                return frame
        return None

    async def prove(self, exchange: NodeExchange, within_us: int | None = None) -> Frame | None:
        """The host's prove in an exchange; None when none comes: in two offer windows, so that an offer
        which comes too late for the first is in time for the next."""
        line = self.line
        wait_us = 2 * exchange.seek.offer_window_us if within_us is None else within_us
        end_us = line.now_us + wait_us + 2 * line.setting.patience_us
        while (frame := await self.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == Kind.PROVE and frame.header.session == exchange.number:
                return frame
        return None

    async def silent(self, for_us: int, why: str, kinds: Collection[Kind] = OF_HOST) -> None:
        """The host says nothing of these kinds for this address.  Raises Differs."""
        await self.line.silence(
            kinds,
            for_us + 2 * self.line.setting.patience_us,
            why,
            lambda f: f.header.address == self.card.strap,
        )

    async def says(self, *words: str) -> None:
        """The host tells one of these of this address, if it tells anything.  Raises Differs."""
        said = await self.line.tell(f"state {self.card.strap}")
        if said is not None and not any(said.startswith(w) or said.endswith(w) for w in words):
            raise Differs(f'it says "{said}" of the address; right: {" or ".join(words)}', self.line.newest)

    # -- what is said --------------------------------------------------------------------------------

    def exchange(self, seek: Frame, version: int = 1) -> NodeExchange:
        """What this node answers a seek with."""
        assert isinstance(seek.message, frames.Seek)
        return NodeExchange(
            self.card, seek.message, seek.body, seek.header.session, version, self.line.now_us,
            self.line.dice.octets(32),
        )  # fmt: skip

    def offer(self, seek: Frame, version: int = 1) -> NodeExchange:
        """Answer a seek."""
        exchange = self.exchange(seek, version)
        self.line.send(exchange.offer_frame)
        return exchange

    def exchange_of(self, theirs: NodeExchange) -> NodeExchange:
        """What this node answers a seek with that another has answered too."""
        return NodeExchange(
            self.card, theirs.seek, theirs.seek_body, theirs.number, theirs.version, self.line.now_us,
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

    # -- whole stretches -----------------------------------------------------------------------------

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

    def accept(self, exchange: NodeExchange, session: Session, next_sample: int = 0) -> NodeFlow:
        """Answer a right prove; the flow begins."""
        self.line.send(exchange.accept_frame)
        return NodeFlow(self.line, self.card, session, exchange, next_sample)

    async def pair(self, next_sample: int = 0, seek: Frame | None = None) -> NodeFlow:
        """A whole pairing, on a seek that was heard or on one that the host is asked for."""
        exchange = self.exchange(seek or await self.sought())
        _, session = await self.proven(exchange, next_sample)
        return self.accept(exchange, session, next_sample)

    async def flowing(self, next_sample: int = 0) -> NodeFlow:
        """Paired, and the first beat was heard, if the host says one at once."""
        flow = await self.pair(next_sample)
        await flow.run(AT_ONCE_US + 2 * self.line.setting.patience_us, until=(Kind.BEAT,))
        return flow

    async def given_up(self, *words: str, within_us: int = 0) -> None:
        """The host says nothing more to this address, tells why, and pairs at once when it is asked again.

        within_us: how long it may take to find out; it says nothing meanwhile either.
        """
        await self.silent(within_us + QUIET_US, f"the address is to be given up: {words[0]}")
        await self.says(*words)
        await self.pairs_again()

    async def pairs_again(self) -> None:
        """Asked again, the host pairs with a right node.  A host that nobody attends is not asked."""
        right = as_node(self.line, self.card.strap)
        try:
            flow = await right.pair(seek=await right.sought(asked=True))
        except NotReached:
            return
        await flow.wait(Kind.BEAT, AT_ONCE_US, "it has paired again")


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
        "fingerprint": setting.sealed or bytes([0x40 + at] * 8),
        "rate_hz": setting.rate_hz or RATE_HZ,
    }
    return AsNode(line, NodeCard(**(card | other)))


def time_to_answer(line: Line, answer_us: int, tries: bool = False) -> None:
    """Raises NotReached when a host that waits as long as its settings say would not wait for an answer.

    answer_us: how long the answer takes here.  tries: whether it may come to a later try.
    """
    settings = line.setting.settings
    waits_us = settings.answer_timeout_us * (settings.tries if tries else 1)
    if waits_us < answer_us + 2 * line.setting.patience_us:
        raise NotReached("its answer timeout is too short for this medium")


def several_tries(line: Line, passed_over: int = 0) -> None:
    """Raises NotReached for a host that asks only once, or has only one try left."""
    if line.setting.settings.tries - passed_over < 2:
        raise NotReached("it asks only once more" if passed_over else "it asks only once")


def window_us(line: Line, seek: Frame) -> int:
    """The offer window of a seek.  Raises NotReached when nothing could be answered within it."""
    assert isinstance(seek.message, frames.Seek)
    least_us = 2 * line.setting.patience_us + 20_000
    if seek.message.offer_window_us < least_us:
        raise NotReached(f"its offer window is too short for this medium: {least_us // 1000} ms are needed")
    return seek.message.offer_window_us
