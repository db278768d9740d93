"""Nodes that are wrong when they are sought, proven or bound."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from dataclasses import replace

from benchsim.ground.randomness import Dice
from benchsim.link import codec, frames, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Header, Kind, RefuseReason
from benchsim.link.limits import ANSWERS_KEPT, CRC_OCTETS, TAG_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.pairing import NodeExchange, proof_of
from benchsim.link.parts import NodeCard
from benchsim.link.steps import Step
from tests.mutants.wrong_node import Wrong, enters

ENTERED: list[Wrong] = []
wrong = enters(ENTERED)


@wrong("node-seek-of-another-network-is-refused-by-an-idle-node")
class IgnoresTheNetwork(NodeEnd):
    """Offers in its own network to whoever seeks in any."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        ours = replace(frame, header=replace(frame.header, network=self.card.network))
        super()._on_seek(ours, seek, now_us)


@wrong("node-seek-of-another-network-is-not-answered-in-a-flow")
class RefusesNeighbours(NodeEnd):
    """Tells a neighbour's host that its network is wrong, also while it works."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        if frame.header.network != self.card.network and self.session is not None:
            self._refuse(frame.header, RefuseReason.WRONG_NETWORK, now_us)
        else:
            super()._on_seek(frame, seek, now_us)


@wrong("node-seek-of-another-network-is-refused-by-a-released-node")
class StaysQuietWhenReleased(NodeEnd):
    """Goes on as if it worked, once it has worked, when a host of another network seeks."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        if frame.header.network == self.card.network or self.session is None:
            super()._on_seek(frame, seek, now_us)


@wrong("node-bound-node-without-a-session-minds-no-neighbour")
class MindsNeighboursAfterPowerUp(NodeEnd):
    """Goes by its session alone when it decides whether it works."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        if frame.header.network != self.card.network and self.session is None and self._exchange is None:
            self._refuse(frame.header, RefuseReason.WRONG_NETWORK, now_us)
        else:
            super()._on_seek(frame, seek, now_us)


@wrong("node-says-the-same-of-itself-each-time")
class RefusesWithoutItsSerial(NodeEnd):
    """Leaves its serial number out of refusals."""

    def _refuse(self, header: Header, reason: RefuseReason, at_us: int) -> None:
        card, self.card = self.card, replace(self.card, serial=0)
        super()._refuse(header, reason, at_us)
        self.card = card


@wrong("node-refuse-carries-what-it-answers")
class RefusesInItsOwnVersion(NodeEnd):
    """Refuses in the version that it speaks, not in that of the host."""

    def _refuse(self, header: Header, reason: RefuseReason, at_us: int) -> None:
        super()._refuse(replace(header, version=self.card.versions[1]), reason, at_us)


@wrong("node-highest-common-version-is-offered")
class OffersItsLowestVersion(NodeEnd):
    """Speaks versions 1 to 3 and offers the lowest that both speak."""

    def __init__(self, card: NodeCard, dice: Dice, node_time_us: Callable[[int], int]) -> None:
        super().__init__(replace(card, versions=(1, 3)), dice, node_time_us)

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        lowest = max(seek.version_low, self.card.versions[0])
        super()._offer(frame, seek, min(version, lowest), now_us, at_us)


@wrong("node-offers-wait-at-random-within-half-the-window")
class OffersAtOnce(NodeEnd):
    """Draws no wait."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        super()._offer(frame, seek, version, now_us, now_us)


@wrong("node-copies-of-a-seek-are-not-each-answered")
class AnswersEachCopy(NodeEnd):
    """Has an answer wait for each copy of a seek."""

    waiting: tuple[int, ...] = ()

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        super()._offer(frame, seek, version, now_us, at_us)
        self.waiting += (at_us,)

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        out, next_us = super().due(now_us)
        offers = [at_us for at_us in self.waiting if at_us <= now_us]
        self.waiting = tuple(at_us for at_us in self.waiting if at_us > now_us)
        if self._exchange is not None:
            out += [self._exchange.offer_frame for _ in offers]
        return out, min((next_us or now_us, *self.waiting)) if self.waiting else next_us


@wrong("node-k-is-the-smaller-of-both")
class OffersItsOwnK(NodeEnd):
    """Offers the largest k that it can do, whatever the seek asks for, and sends so."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        super()._on_seek(frame, replace(seek, samples_per_frame=max(16, seek.samples_per_frame)), now_us)


@wrong("node-another-host-waits-while-a-node-is-in-an-exchange")
class LetsAnotherHostIn(NodeEnd):
    """Drops one host's exchange for another's seek."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        if self._exchange is not None and self._exchange.seek.host_id != seek.host_id:
            self._exchange = None
        super()._offer(frame, seek, version, now_us, at_us)


@wrong("node-exchange-ends-in-its-time-whatever-is-sent")
class LivesOnWithEachSeek(NodeEnd):
    """Counts the life of an exchange from the newest copy of its seek."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        super()._offer(frame, seek, version, now_us, at_us)
        if self._exchange is not None:
            self._exchange.begun_us = now_us


@wrong("node-exchange-lives-its-time")
class ForgetsItsOfferSoon(NodeEnd):
    """Gives up an exchange after a second."""

    def _expire(self, now_us: int) -> None:
        super()._expire(now_us)
        if self._exchange is not None and now_us > self._exchange.begun_us + 1_000_000:
            self._exchange = None


@wrong("node-answers-that-wait-are-bounded")
class KeepsEveryAnswer(NodeEnd):
    """Has a refusal wait for each seek, however many there are."""

    def _refuse(self, header: Header, reason: RefuseReason, at_us: int) -> None:
        kept, self._outbox = self._outbox, []
        super()._refuse(header, reason, at_us)
        (at_us, _, frame), waiting = self._outbox[0], kept
        self._outbox = waiting
        self._post(at_us, frame)


@wrong("node-public-value-is-new-in-each-exchange")
class KeepsItsPrivateValue(NodeEnd):
    """Draws its private value once."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        fresh, self._dice = self._dice, Dice(self.card.serial)
        super()._offer(frame, seek, version, now_us, at_us)
        self._dice = fresh


@wrong("node-public-value-is-new-after-power-up")
class DrawsTheSameAfterPowerUp(NodeEnd):
    """Its source of random numbers begins from the same seed at each power-up."""

    def restart(self, now_us: int, card: NodeCard | None = None) -> None:
        super().restart(now_us, card)
        self._dice = Dice(self.card.serial)


def right_proof(exchange: NodeExchange) -> bytes:
    """What the host's proof in an exchange should be."""
    shared = keys.agree(exchange.private, exchange.seek.public) or bytes(32)
    said = (exchange.seek_body, exchange.offer_body)
    proofs = keys.proof_keys(keys.extract(exchange.card.key, shared), keys.transcript(*said))
    return proof_of(proofs.host, *said)


@wrong("node-wrong-proof-is-refused-and-the-right-one-still-taken")
class AcceptsAnyProof(NodeEnd):
    """Does not look at the proof."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        if self._exchange is not None:
            prove = replace(prove, proof=right_proof(self._exchange))
        super()._on_prove(frame, prove, now_us)


@wrong("node-proof-is-compared-whole")
class ComparesHalfAProof(NodeEnd):
    """Compares the first 8 octets of a proof, as it does with tags."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        if self._exchange is not None:
            due = right_proof(self._exchange)
            if hmac.compare_digest(due[:TAG_OCTETS], prove.proof[:TAG_OCTETS]):
                prove = replace(prove, proof=due)
        super()._on_prove(frame, prove, now_us)


@wrong("node-wrong-proof-is-refused-and-the-right-one-still-taken")
class GivesUpAtAWrongProof(NodeEnd):
    """Drops the exchange when a proof is wrong, so that anybody can end a pairing."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        super()._on_prove(frame, prove, now_us)
        if self.session is None and prove.serial == self.card.serial:
            self._exchange = None


@wrong("node-public-value-of-small-order-is-not-accepted")
class AgreesOnZeros(NodeEnd):
    """Goes on with a shared secret of all zeros."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        exchange = self._exchange
        worthless = exchange is not None and keys.agree(exchange.private, exchange.seek.public) is None
        if exchange is not None and worthless and prove.proof == right_proof(exchange):
            accept = frames.Accept(self.card.serial, 0, bytes(16))
            header = replace(frame.header, kind=Kind.ACCEPT, flags=FROM_NODE)
            self._post(now_us, codec.seal(codec.body_of(header, accept)))
        else:
            super()._on_prove(frame, prove, now_us)


@wrong("node-prove-to-another-serial-is-refused")
class LooksAtNoSerial(NodeEnd):
    """Takes a prove to whichever serial number for its own."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        super()._on_prove(frame, replace(prove, serial=self.card.serial), now_us)


@wrong("node-new-seek-takes-the-place-of-the-exchange")
class StaysWithItsFirstSeek(NodeEnd):
    """Says nothing to another seek while it is in an exchange, of the same host too."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        if self._exchange is None or self._exchange.seek_body == frame.body:
            super()._offer(frame, seek, version, now_us, at_us)


@wrong("node-prove-of-another-network-is-dropped")
class TakesProvesOfAnyNetwork(NodeEnd):
    """Refuses what is not for its network at all."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        super()._on_prove(
            replace(frame, header=replace(frame.header, network=self.card.network)), prove, now_us
        )


@wrong("node-flow-goes-on-until-a-new-prove-is-right")
class StopsWhenItIsSought(NodeEnd):
    """Leaves its flow for a seek, before anything is proven."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        super()._offer(frame, seek, version, now_us, at_us)
        self.step = Step.OFFER


@wrong("node-binding-is-kept-without-power")
class ForgetsItsHostWithoutPower(NodeEnd):
    """Keeps the binding in memory that power keeps."""

    def restart(self, now_us: int, card: NodeCard | None = None) -> None:
        super().restart(now_us, card)
        self.bound_host = None


@wrong("node-binding-ends-with-release")
class StaysBoundWhenReleased(NodeEnd):
    """Confirms a release and keeps the binding."""

    def _on_session(self, frame: Frame, now_us: int) -> None:
        bound = self.bound_host
        super()._on_session(frame, now_us)
        self.bound_host = bound


@wrong("node-seek-out-of-range-is-not-answered")
class HeedsSeeksOutOfRange(NodeEnd):
    """Takes a figure of a seek that is out of its range for the nearest within it."""

    RANGES: tuple[tuple[int, int, int, int], ...] = (
        (22, 1, 1, 255), (23, 1, 1, 255), (24, 1, 1, 80), (25, 1, 0, 4), (26, 4, 10_000, 60_000_000),
        (30, 4, 1_000, 10_000_000),
    )  # fmt: skip

    def receive(self, frame: bytes, now_us: int) -> None:
        body = bytearray(frame[:-CRC_OCTETS])
        if len(frame) == 70 and frame[1] == Kind.SEEK:
            for at, octets, low, high in self.RANGES:
                figure = int.from_bytes(body[at : at + octets], "little")
                body[at : at + octets] = min(max(figure, low), high).to_bytes(octets, "little")
            frame = codec.seal(bytes(body))
        super().receive(frame, now_us)


@wrong("node-seek-out-of-range-is-not-answered")
class HeedsAnyOfferWindow(HeedsSeeksOutOfRange):
    """The same, of the offer window alone."""

    RANGES = ((30, 4, 1_000, 10_000_000),)


@wrong("node-copies-of-a-seek-are-not-each-answered")
class AnswersAsManyCopiesAsItKeeps(NodeEnd):
    """Lets an offer wait for each copy of a seek that comes, as many as it keeps answers."""

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        super()._offer(frame, seek, version, now_us, at_us)
        exchange = self._exchange
        if exchange is not None and self._offer_us != at_us and len(self._outbox) < ANSWERS_KEPT:
            self._put += 1
            self._outbox.append((at_us, self._put, exchange.offer_frame))
            self._outbox.sort()


@wrong("node-bound-is-said-before-the-version")
class LooksAtTheVersionFirst(NodeEnd):
    """Refuses a version that it does not speak before it says that it is bound."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        bound, mine = self.bound_host, frame.header.network == self.card.network
        if mine and seek.version_low > self.card.versions[1]:
            self.bound_host = None
        super()._on_seek(frame, seek, now_us)
        self.bound_host = bound


@wrong("node-version-is-refused-in-an-exchange-too")
class IsBusyForEveryone(NodeEnd):
    """Says nothing at all to another host while it is in an exchange."""

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        if self._exchange is None or self._exchange.seek.host_id == seek.host_id:
            super()._on_seek(frame, seek, now_us)


@wrong("node-accept-names-a-frame-that-fills-or-the-next")
class BeginsTwoFramesLater(NodeEnd):
    """Leaves itself two frames more before its flow begins."""

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        boundary = self.stream.boundary
        self.stream.boundary = lambda now_us, k: boundary(now_us, k) + 2 * k  # type: ignore[method-assign]
        super()._on_prove(frame, prove, now_us)
        del self.stream.boundary
