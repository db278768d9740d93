"""Hosts that are wrong in one way each while they seek, judge and prove."""

from __future__ import annotations

from dataclasses import replace

from benchsim.link import codec, frames, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import Accept, Kind, Offer, Refuse, RefuseReason
from benchsim.link.judge import Asked
from benchsim.link.limits import NO_NUMBER
from benchsim.link.pairing import HostExchange, proof_of
from benchsim.link.session import Session
from benchsim.link.steps import HostEvent, Reason, Step
from benchsim.link.watch import Watch
from tests.mutants.odd_host import OddSeat, wrong


@wrong("host-the-window-is-kept-before-a-prove")
class TakesTheFirstOffer(OddSeat):
    """Proves itself to the first offer without waiting for the end of the window."""

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        super()._on_offer(frame, offer, now_us)
        if self.step is Step.SEEK and self._heard.offers:
            self._ask_us = now_us


@wrong("host-the-same-seek-is-sent-at-each-try")
class DrawsAnewAtEachTry(OddSeat):
    """Makes a new public value for each try of the same exchange."""

    def _window_over(self, now_us: int) -> None:
        old = self._exchange
        if old is not None and self._tries and not self._heard.offers:
            self._exchange = HostExchange(self.card, self.expected, old.number, self._dice.octets(32))
        super()._window_over(now_us)


@wrong("host-each-exchange-has-a-number-and-a-public-value-of-its-own")
class KeepsItsPrivateValue(OddSeat):
    """Draws its private value once, at the start of the program."""

    def _seek(self, at_us: int) -> None:
        super()._seek(at_us)
        assert self._exchange is not None
        self._exchange = HostExchange(self.card, self.expected, self._exchange.number, bytes(range(32)))


@wrong("host-an-accept-of-an-earlier-exchange-is-let-be")
class CountsOneSession(OddSeat):
    """Uses the same session number in every exchange, so that frames of an older one fit."""

    def _seek(self, at_us: int) -> None:
        super()._seek(at_us)
        assert self._exchange is not None
        old = self._exchange
        self._exchange = HostExchange(self.card, self.expected, 4711 + self.address, old.private)


@wrong("host-a-node-of-another-network-is-told")
class IgnoresWrongNetworks(OddSeat):
    """Does not heed refusals for another network, so that nobody seems to be there."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if refuse.reason != RefuseReason.WRONG_NETWORK:
            super()._on_refuse(frame, refuse, now_us)


@wrong("host-a-neighbour-of-another-network-does-not-hinder")
class MindsNeighbours(OddSeat):
    """Counts a refusal for another network as one of its own."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if refuse.reason == RefuseReason.WRONG_NETWORK and self.step is Step.SEEK:
            self._heard.near.setdefault(refuse.serial, refuse)
        super()._on_refuse(frame, refuse, now_us)


@wrong("host-a-second-offer-late-in-the-window-is-noticed")
class StopsListening(OddSeat):
    """Keeps to the window, but has made up its mind with the first offer."""

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        if self.step is not Step.SEEK or not self._heard.offers:
            super()._on_offer(frame, offer, now_us)


@wrong("host-the-same-offer-again-is-no-second-node")
class CountsEveryOffer(OddSeat):
    """Takes an offer that comes twice for two nodes."""

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        if self.step in (Step.PROVE, Step.FLOW):
            self._two_nodes(offer.serial, offer.serial, now_us)
        super()._on_offer(frame, offer, now_us)


@wrong("host-a-late-word-of-a-neighbour-does-not-hinder")
class MindsNeighboursLate(OddSeat):
    """Takes the late refusal of a node of another network for that of a second node."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if refuse.reason == RefuseReason.WRONG_NETWORK and self.step is not Step.SEEK:
            refuse = replace(refuse, reason=RefuseReason.BOUND)
        super()._on_refuse(frame, refuse, now_us)


@wrong("host-a-wrong-key-is-believed-the-second-time")
class BelievesAWrongKeyAtOnce(OddSeat):
    """Fails at the first refusal of its proof."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if self.step is Step.PROVE and refuse.reason == RefuseReason.WRONG_KEY:
            self._doubts = 1
        super()._on_refuse(frame, refuse, now_us)


@wrong("host-another-offer-long-after-the-accept-ends-nothing")
class BelievesStrangersForEver(OddSeat):
    """Ends a flow for an offer without a tag, however late it comes."""

    def _two_nodes(self, one: int, other: int, now_us: int) -> None:
        self._accepted_us = now_us
        super()._two_nodes(one, other, now_us)


@wrong("host-a-seek-says-what-the-host-speaks-and-wants")
class TellsNoCells(OddSeat):
    """Does not say in its seek how many cells it expects."""

    def _seek(self, at_us: int) -> None:
        super()._seek(at_us)
        assert self._exchange is not None
        old = self._exchange
        self._exchange = HostExchange(self.card, replace(self.expected, cells=0), old.number, old.private)


@wrong("host-a-node-bound-to-another-host-is-told")
class HearsOffersOnly(OddSeat):
    """Takes a refusal for no answer, and seeks on."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if self.step is not Step.SEEK or refuse.reason == RefuseReason.WRONG_NETWORK:
            super()._on_refuse(frame, refuse, now_us)


@wrong("host-a-node-without-a-common-version-is-told")
class HasOneWordForAll(OddSeat):
    """Tells every failure as timed out."""

    def _happens(self, event: HostEvent, now_us: int, reason: str = "", detail: str = "") -> None:
        before = self.step
        super()._happens(event, now_us, reason, detail)
        if self.step is Step.FAILED and before is not Step.FAILED:
            self.state = replace(self.state, reason="timed out")


@wrong("host-an-offer-of-a-version-that-was-not-named-is-not-proved")
class TakesAnyVersion(OddSeat):
    """Goes along with whatever version is offered."""

    def _window_over(self, now_us: int) -> None:
        card, self.card = self.card, replace(self.card, versions=(1, 255))
        super()._window_over(now_us)
        self.card = card


@wrong("host-a-node-of-too-few-channels-is-told")
class CountsNoChannels(OddSeat):
    """Pairs with a node that has fewer channels than there are cells."""

    def _window_over(self, now_us: int) -> None:
        expected, self.expected = self.expected, replace(self.expected, cells=1)
        super()._window_over(now_us)
        self.expected = expected


@wrong("host-another-offer-soon-after-the-accept-ends-the-flow")
class HearsNobodyOnceItFlows(OddSeat):
    """Does not notice that a second node answers late."""

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        if self.step is not Step.FLOW:
            super()._on_offer(frame, offer, now_us)


@wrong("host-a-refusal-of-another-at-the-prove-is-two-nodes")
class HearsOnlyItsNodeAtTheProve(OddSeat):
    """Passes over what another serial number says to a prove."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if self.step is not Step.PROVE or refuse.reason != RefuseReason.TWO_NODES:
            super()._on_refuse(frame, refuse, now_us)


@wrong("host-an-unanswered-prove-is-repeated-then-given-up")
class ProvesForEver(OddSeat):
    """Repeats its prove without end."""

    def _prove_again(self, now_us: int) -> None:
        self._tries = 1
        super()._prove_again(now_us)


@wrong("host-an-accept-to-the-last-prove-is-taken")
class ProvesOnce(OddSeat):
    """Does not repeat a prove that is not answered."""

    def _prove_again(self, now_us: int) -> None:
        self._tries = self.card.settings.tries
        super()._prove_again(now_us)


@wrong("host-a-link-on-which-little-is-answered-is-told")
class KnowsNoPoorLink(OddSeat):
    """Calls it timed out when a poor link lets no answer through."""

    def _prove_again(self, now_us: int) -> None:
        self._asked = Asked()
        super()._prove_again(now_us)


@wrong("host-a-trial-with-too-little-at-first-sending-fails")
class TriesNoLink(Watch):
    """Keeps a flow of which next to nothing comes."""

    def tried(self) -> str | None:
        return None


@wrong("host-a-trial-with-enough-at-first-sending-is-passed")
class AsksTooMuchOfALink(Watch):
    """Wants nine of ten samples of a trial at first sending."""

    def tried(self) -> str | None:
        trial, counters = self.trial, self.counters
        if trial is None or not trial.over(self.gaps.next):
            return super().tried()
        self.trial = None
        return "" if 10 * counters.taken >= 9 * self.gaps.next else "too little came"


@wrong("host-a-replayed-accept-begins-nothing-anew")
class BeginsAnewAtEachAccept(OddSeat):
    """Begins its flow again when the same accept comes again."""

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        super()._on_accept(frame, accept, now_us)
        if self.step is Step.FLOW and self.watch is not None and self.watch.session.sequence:
            self.watch.session.turn(0)
            self.watch.begin(now_us)


@wrong("host-an-accept-with-a-wrong-proof-is-a-wrong-key")
class BelievesAnyAccept(HostExchange):
    """Flows without checking the node's proof."""

    __slots__ = ()

    def accepted(self, frame: Frame, accept: Accept) -> Session | None:
        said = (self.seek_body, self._offer_body, self.prove_body)
        secret = keys.resume_secret(self._master, keys.transcript(*said, frame.body))
        return Session(self.number, self.version, self.card.network, self.expected.address, 0, secret)


@wrong("host-accepts-of-others-are-let-be")
class LooksAtNoSerial(OddSeat):
    """Takes any accept of its exchange for that of its node."""

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        exchange = self._exchange
        if self.step is Step.PROVE and exchange is not None and exchange.offer is not None:
            exchange.offer = replace(exchange.offer, serial=accept.serial)
        super()._on_accept(frame, accept, now_us)


@wrong("host-asked-to-pair-while-it-proves-it-begins-anew")
class CannotPairDuringProve(OddSeat):
    """Is deaf to whoever asks to pair while it waits for an accept."""

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        if self.step is not Step.PROVE:
            super().pair(now_us, wait_us)


@wrong("host-the-proof-of-a-prove-is-right")
class NumbersItsProve(HostExchange):
    """Counts frames before there is a session."""

    __slots__ = ()

    def _header(self, kind: Kind, version: int) -> frames.Header:
        return replace(super()._header(kind, version), sequence=1)


@wrong("host-an-accept-of-no-number-begins-nothing")
class TakesNoNumber(OddSeat):
    """Begins a flow at whatever sample an accept names."""

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        super()._on_accept(frame, replace(accept, next_sample=accept.next_sample % NO_NUMBER), now_us)


@wrong("host-a-public-value-of-small-order-ends-the-exchange")
class TakesWorthlessPublicValues(HostExchange):
    """Goes on with a shared secret of all zeros."""

    __slots__ = ()

    def prove(self, frame: Frame) -> bytes | None:
        proved = super().prove(frame)
        if proved is not None:
            return proved
        offer = frame.message
        assert isinstance(offer, Offer)
        heard = keys.transcript(self.seek_body, frame.body)
        proofs = keys.proof_keys(keys.extract(self.card.key, bytes(32)), heard)
        self.offer, self._offer_body, self.version, self._proofs = offer, frame.body, offer.version, proofs
        proof = proof_of(proofs.host, self.seek_body, frame.body)
        self.prove_body = codec.body_of(
            self._header(Kind.PROVE, offer.version), frames.Prove(offer.serial, proof)
        )
        return codec.seal(self.prove_body)


@wrong("host-another-offer-at-the-prove-is-two-nodes")
class HearsNoOfferAtTheProve(OddSeat):
    """Hears no more offers once it has chosen one."""

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        if self.step is not Step.PROVE:
            super()._on_offer(frame, offer, now_us)


@wrong("host-a-public-value-of-small-order-ends-the-exchange")
class TellsNobodyOfAWorthlessValue(OddSeat):
    """Says that nobody is there when the public value of an offer is worthless."""

    def _unfit(self, reason: Reason, detail: str, now_us: int) -> None:
        super()._unfit(Reason.NOBODY if "worthless" in detail else reason, detail, now_us)


@wrong("host-another-fingerprint-than-the-sealed-one-is-told")
class BreaksItsSeals(OddSeat):
    """Forgets the fingerprint that was sealed when somebody asks to pair."""

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        self.expected = replace(self.expected, sealed_fingerprint=None)
        super().pair(now_us, wait_us)


@wrong("host-another-rate-than-the-told-one-is-told")
class ForgetsTheRate(OddSeat):
    """Goes by the rate that a node offers, whatever it was told."""

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        self.expected = replace(self.expected, rate_hz=None)
        super().pair(now_us, wait_us)
