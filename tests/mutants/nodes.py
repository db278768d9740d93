"""Nodes that are wrong in one way each, as real firmware gets things wrong, and the case made for each.

Everything else of them is the built-in node: what catches one shows what it is that it does wrong.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from benchsim.ground.randomness import Dice, Streams
from benchsim.link import codec, data, frames, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Header, Kind, Message, RefuseReason
from benchsim.link.gaps import Window
from benchsim.link.keys import Tagger
from benchsim.link.limits import CRC_OCTETS, HEADER_OCTETS, TAG_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.pairing import NodeExchange, proof_of
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.link.steps import Step
from benchsim.probe.run import Device
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import NodesStandIn


@dataclass(frozen=True, slots=True)
class Wrong:
    """One wrong node.  made_for: the case that is there because of it."""

    name: str
    made_for: str
    end: type[NodeEnd]

    def device(self, setting: Setting, streams: Streams) -> Device:
        return NodesStandIn(setting, streams, self.end)


WRONG_NODES: list[Wrong] = []


def wrong(made_for: str) -> Callable[[type[NodeEnd]], type[NodeEnd]]:
    """Enters a node end, and the case made for it."""

    def enter(end: type[NodeEnd]) -> type[NodeEnd]:
        WRONG_NODES.append(Wrong(end.__name__, made_for, end))
        return end

    return enter


# -- seeking -----------------------------------------------------------------------------------------


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


# -- proving and binding -------------------------------------------------------------------------------


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


# -- bad frames ------------------------------------------------------------------------------------------


@wrong("node-frame-with-a-wrong-crc-is-dropped")
class ChecksNoCrc(NodeEnd):
    """Takes frames with any CRC: the tag will do."""

    def receive(self, frame: bytes, now_us: int) -> None:
        super().receive(codec.seal(frame[:-CRC_OCTETS]), now_us)


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


# -- the flow --------------------------------------------------------------------------------------------


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
        raise NotImplementedError


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


# -- repeats -----------------------------------------------------------------------------------------------


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


# -- being alive -------------------------------------------------------------------------------------------


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


# -- resume and release --------------------------------------------------------------------------------------


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


# -- two nodes -----------------------------------------------------------------------------------------------


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
