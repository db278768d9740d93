"""Hosts that are wrong in one way each when a node is silent, comes back, or is let go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from benchsim.ground.randomness import Dice, Streams
from benchsim.ground.readings import Samples
from benchsim.link import codec, frames, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import Accept, Offer, Refuse
from benchsim.link.hub import Hub
from benchsim.link.judge import Known
from benchsim.link.keys import Tagger
from benchsim.link.limits import TAG_OCTETS
from benchsim.link.parts import HostCard
from benchsim.link.seat import Told
from benchsim.link.session import Session
from benchsim.link.steps import HostEvent, Reason, Step
from benchsim.link.watch import Watch
from tests.mutants.odd_host import OddSeat, wrong


@wrong("host-a-node-that-is-quiet-is-asked-before-it-is-lost")
class DoesNotAskAQuietNode(Watch):
    """Waits for its liveness limit without asking whether the node is there."""

    def _quiet_us(self) -> int:
        return 1 << 62


@wrong("host-a-silent-node-is-resumed-with-rising-epochs")
class KeepsItsEpoch(Watch):
    """Sends each resume with the same epoch."""

    def resume(self, now_us: int) -> bytes:
        self._epoch = 0
        return super().resume(now_us)


@wrong("host-a-silent-node-is-resumed-with-rising-epochs")
class KeepsItsNonce(Watch):
    """Draws a nonce at its first resume and uses it again."""

    def resume(self, now_us: int) -> bytes:
        self._epoch += 1
        nonce = self._asked[-1].nonce if self._asked else self._dice.octets(16)
        asked = frames.Resume(self._epoch, nonce)
        self._asked.append(asked)
        self._resume_us = now_us + self.settings.answer_timeout_us
        return self.session.resume_frame(asked)


@wrong("host-a-silent-node-is-resumed-with-rising-epochs")
class CutsTheTagAtTheWrongEnd(Session):
    """Tags its resumes with the last 64 bits of the code instead of the first."""

    __slots__ = ()

    def resume_frame(self, message: frames.Resume | frames.Resumed) -> bytes:
        body = codec.body_of(self.header(message.KIND, 0), message)
        return codec.seal(body, keys.cmac(self.resume.key, body)[-TAG_OCTETS:])


@wrong("host-data-do-not-end-a-silence")
class TakesDataWhileLost(OddSeat):
    """Flows again as soon as an authentic data frame comes."""

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        watch = self.watch
        if self.step is Step.LOST and watch is not None and watch.take(frame, now_us) is not None:
            watch.begin(now_us)
            self._happens(HostEvent.RESUMED, now_us)
            self._arm()
        return super().hear_data(frame, now_us)


@wrong("host-resumed-brings-new-keys-and-sequences")
class KeepsItsSequences(Session):
    """Takes the keys of a new epoch and counts on where it was."""

    __slots__ = ()

    def turn(self, epoch: int, host_nonce: bytes = b"", node_nonce: bytes = b"") -> None:
        before = self.sequence
        super().turn(epoch, host_nonce, node_nonce)
        self.sequence = before


@wrong("host-a-slow-resumed-is-taken")
class KnowsOnlyItsLastResume(Watch):
    """Believes an answer to its last resume only."""

    def resume(self, now_us: int) -> bytes:
        self._asked.clear()
        return super().resume(now_us)


@wrong("host-another-node-in-its-place-is-told")
class PairsWithWhoeverIsThere(OddSeat):
    """Takes another node by itself when the one that flowed does not answer."""

    def _window_over(self, now_us: int) -> None:
        if self._known is not None and self._heard.offers:
            offer = next(iter(self._heard.offers.values())).message
            assert isinstance(offer, Offer)
            self._known = Known(offer.serial, offer.fingerprint, offer.rate_hz)
        super()._window_over(now_us)


@wrong("host-an-address-that-flowed-is-not-given-up")
class GivesUpWhoFlowed(OddSeat):
    """Stops seeking a node that flowed, as one that never did."""

    def _take_up(self, now_us: int) -> None:
        if self.watch is None:
            self._ask_us = now_us + 60_000_000
        else:
            super()._take_up(now_us)


@wrong("host-a-released-node-is-let-go")
class BeatsOnAfterReleased(OddSeat):
    """Has let the node go, and goes on beating to it."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        watch = self.watch
        told = super().hear(frame, now_us)
        if self.step is Step.RELEASED and watch is not None:
            self.out.append((self.address, watch.session.control_frame(frames.Beat(now_us))))
            self.watch = watch
        return told

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        if self.step is Step.RELEASED and self.watch is not None:
            self.out.append((self.address, self.watch.session.control_frame(frames.Beat(now_us))))
            self.wake_us = now_us
        return super().hear_data(frame, now_us)


@wrong("host-a-release-is-repeated-until-it-is-answered")
class AsksOnceToRelease(OddSeat):
    """Says release once and waits for ever."""

    def _release_again(self, now_us: int) -> None:
        if self._tries == 0:
            super()._release_again(now_us)
        self._ask_us = now_us + 60_000_000


@wrong("host-a-lost-node-is-resumed-before-it-is-released")
class ReleasesUnderOldKeys(OddSeat):
    """Releases a lost node under keys that the node may have left."""

    def release(self, now_us: int) -> None:
        super().release(now_us)
        self._stale = False


@wrong("host-without-a-session-nothing-is-asked")
class CannotLetGoWithoutASession(OddSeat):
    """Leaves an address failed that is to be released, so that it never comes free."""

    def release(self, now_us: int) -> None:
        if self.watch is not None:
            super().release(now_us)


@wrong("host-a-released-address-can-be-paired-again")
class RemembersWhomItReleased(OddSeat):
    """Takes only the node that flowed last, though somebody asked to pair."""

    last: Known | None = None

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        super().pair(now_us, wait_us)
        self._known = self.last

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        super()._on_accept(frame, accept, now_us)
        self.last = self._known


@wrong("host-after-a-restart-nothing-is-drawn-again")
class DrawsTheSameAtEachStart(Hub):
    """Seeds its random numbers with the same value at each start."""

    def __init__(self, card: HostCard, dice: Dice) -> None:
        super().__init__(card, Streams("the same at each start").dice("hub"))


@wrong("host-an-offer-to-one-address-counts-at-no-other")
class MixesAddresses(Hub):
    """Hands an offer to every address that it has sought."""

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        read = codec.read(frame)
        if isinstance(read, Frame) and isinstance(read.message, Offer):
            for seat in self.seats.values():
                if seat._exchange is not None and seat.step is Step.SEEK:
                    seat._heard.offer(read.message.serial, read)
        return super().receive(frame, now_us)


@wrong("host-resumed-brings-new-keys-and-sequences")
class SeesNoGapsAfterResume(Watch):
    """Forgets to watch for gaps once a session was taken up."""

    def due(self, now_us: int) -> list[bytes]:
        if self.session.epoch:
            self.gaps.gaps = [g for g in self.gaps.gaps if g.first < self.resumed_at]
        return super().due(now_us)

    resumed_at = 0

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        took = super().resumed(frame, answer, now_us)
        if took:
            self.resumed_at = answer.next_sample
        return took


@wrong("host-resumed-tells-what-the-silence-cost")
class LetsTheSilenceBe(Watch):
    """Goes on at the next sample of resumed and asks for none of those before."""

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        took = super().resumed(frame, answer, now_us)
        if took:
            self.gaps.gone(0, answer.next_sample)
        return took


@wrong("host-a-resumed-that-is-not-the-answer-is-dropped")
class BelievesAnyNonce(Watch):
    """Does not compare what resumed carries with what it asked."""

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        self._asked.append(frames.Resume(answer.epoch, answer.host_nonce))
        return super().resumed(frame, answer, now_us)


@wrong("host-a-resumed-from-before-the-answered-one-is-dropped")
class GoesBackToOldKeys(Watch):
    """Takes an answer to an earlier resume after a later one was answered."""

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        asked = list(self._asked)
        took = super().resumed(frame, answer, now_us)
        self._asked.extend(a for a in asked if a not in self._asked)
        return took


@wrong("host-a-node-without-the-session-is-paired-anew")
class ResumesForEver(OddSeat):
    """Does not heed that the node has no session, and resumes on."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if self.step is not Step.LOST:
            super()._on_refuse(frame, refuse, now_us)


@wrong("host-no-session-of-another-does-not-part-from-the-node")
class BelievesAnyNoSession(OddSeat):
    """Takes another serial number's word for it that its node has no session."""

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        if self.step is Step.LOST and self._known is not None:
            refuse = replace(refuse, serial=self._known.serial)
        super()._on_refuse(frame, refuse, now_us)


@wrong("host-asked-to-pair-a-lost-address-takes-any-node")
class KeepsWhoFlowedWhenAsked(OddSeat):
    """Holds on to a lost node though somebody asked to pair."""

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        known = self._known if self.step is Step.LOST else None
        super().pair(now_us, wait_us)
        self._known = known


@wrong("host-frames-of-an-old-epoch-are-dropped")
class KeepsOldKeysToo(OddSeat):
    """Takes frames under the keys of before a resume as well."""

    old: Tagger | None = None

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        watch, body, tag = self.watch, frame[:-12], frame[-12:-4]
        if watch is not None and self.old is not None and self.old.fits(body, tag):
            frame = codec.seal(body, watch.session.into.tag(body))
        return super().hear_data(frame, now_us)

    def _on_resumed(self, frame: Frame, resumed: frames.Resumed, now_us: int) -> None:
        self.old = self.watch.session.into if self.watch is not None else None
        super()._on_resumed(frame, resumed, now_us)


@wrong("host-nothing-is-asked-for-while-a-node-is-released")
class TakesDataDuringRelease(OddSeat):
    """Watches the flow on while it releases the node."""

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        if self.step is Step.RELEASE and self.watch is not None:
            self.watch.take(frame, now_us)
            ranges = tuple((g.first, g.end - g.first) for g in self.watch.gaps.gaps)
            if ranges:
                again = self.watch.session.control_frame(frames.Again(ranges))
                self.out.append((self.address, again))
                self.wake_us = now_us
        return super().hear_data(frame, now_us)


@wrong("host-a-released-with-a-wrong-tag-is-dropped")
class BelievesAForgedReleased(OddSeat):
    """Does not check the tag of released."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        if isinstance(frame.message, frames.Released) and self.watch is not None:
            frame = replace(frame, tag=self.watch.session.into.tag(frame.body))
        return super().hear(frame, now_us)


@wrong("host-asked-to-release-while-it-seeks-it-stops")
class CannotStopSeeking(OddSeat):
    """Seeks on though it was asked to let the address be."""

    def release(self, now_us: int) -> None:
        if self.step is not Step.SEEK:
            super().release(now_us)


@wrong("host-an-address-that-flowed-is-not-given-up")
class MakesNoPause(OddSeat):
    """Seeks a node that is away again at once, without a pause."""

    def _gives_up(self, event: HostEvent, reason: Reason, now_us: int, why: str = "") -> None:
        super()._gives_up(event, reason, now_us, why)
        if self.step is Step.LOST:
            self._ask_us = now_us + 300_000


@wrong("host-asked-to-pair-while-it-releases-it-begins-anew")
class CannotPairDuringRelease(OddSeat):
    """Is deaf to whoever asks to pair until a release is answered."""

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        if self.step is not Step.RELEASE:
            super().pair(now_us, wait_us)


@wrong("host-a-release-that-is-not-answered-times-out")
class ReleasesForEver(OddSeat):
    """Repeats release without end."""

    def _release_again(self, now_us: int) -> None:
        self._tries = 1
        super()._release_again(now_us)
