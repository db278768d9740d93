"""The host's side of one address: seek, judge what answers, prove, watch the flow, take it up again.

Steps follow HOST_STEPS and nothing else.  What is to be sent lies in `out`, what the caller is to be told
is returned or lies in `told`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import codec, data, frames
from benchsim.link.codec import Frame
from benchsim.link.flow import Gaps
from benchsim.link.frames import Offer, Refuse, RefuseReason
from benchsim.link.limits import ABSENT_PAUSE_US, FIRST_BEAT_US, FIRST_BEATS, REKEY_AT
from benchsim.link.pairing import HostExchange
from benchsim.link.parts import Expected, HostCard
from benchsim.link.session import Session
from benchsim.link.steps import HostEvent, Reason, Step, next_host_step, silent_for

Told = Samples | ClockReading | LinkState

_REFUSED = {
    RefuseReason.WRONG_NETWORK: Reason.WRONG_NETWORK,
    RefuseReason.BOUND: Reason.BOUND,
    RefuseReason.VERSION: Reason.VERSION,
    RefuseReason.WRONG_KEY: Reason.WRONG_KEY,
    RefuseReason.TWO_NODES: Reason.TWO_NODES,
    RefuseReason.NO_SESSION: Reason.NO_SESSION,
}


@dataclass(slots=True)
class SeatCounters:
    """What was counted at one address since the host began."""

    taken: int = 0
    filled: int = 0
    refused: int = 0
    unwanted: int = 0


class Seat:
    """One address."""

    def __init__(self, card: HostCard, expected: Expected, dice: Dice) -> None:
        self.card, self.expected, self.address = card, expected, expected.address
        self.state = LinkState(self.address, Step.IDLE)
        self.step = Step.IDLE
        self.counters = SeatCounters()
        self.out: list[tuple[int, bytes]] = []
        self.told: list[LinkState] = []
        self.wake_us: int | None = None
        self.session: Session | None = None
        self.gaps = Gaps(0, 0)
        self.heard_us = 0
        self._dice = dice
        self._exchange: HostExchange | None = None
        self._offers: dict[int, Frame] = {}
        self._refusals: dict[int, Refuse] = {}
        self._once_flowed = False
        self._tries = 0
        self._ask_us = 0
        self._flow_us = 0
        self._beats = 0
        self._resume: frames.Resume | None = None
        self._epoch = 0
        self._releasing = b""

    # -- what a person asks --------------------------------------------------------------------------

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        """Begin to pair, from whatever step."""
        self._once_flowed = False
        self._happens(HostEvent.PAIR, now_us)
        self._seek(now_us + wait_us)

    def release(self, now_us: int) -> None:
        """Let the node go in good order; nothing to tell it when there is no session."""
        session = self.session
        if session is not None and self.step in (Step.FLOW, Step.LOST):
            self._releasing = session.control_frame(frames.Release(now_us))
            self._tries, self._ask_us = 0, now_us
        else:
            self._exchange = None
        self._happens(HostEvent.RELEASE, now_us)
        self._arm()

    # -- what is heard -------------------------------------------------------------------------------

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Told]:
        """A data frame whose CRC is right."""
        session = self.session
        if session is None or self.step is not Step.FLOW:
            return ()
        taken = data.take(session, frame)
        if isinstance(taken, str):
            self.counters.refused += 1
            return ()
        self.heard_us = now_us
        first, node_t_us, rows, channels, status, octets = taken
        gaps = self.gaps
        if not gaps.take(first, rows, now_us):
            self.counters.unwanted += 1
            return ()
        if gaps.gaps:
            self._arm()
        self.counters.taken += rows
        return (Samples(self.address, first, rows, channels, node_t_us, now_us, octets, status),)

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        """Any other frame of this address and network."""
        told: list[Told] = []
        message = frame.message
        match message:
            case frames.Offer():
                self._on_offer(frame, message, now_us)
            case frames.Accept():
                self._on_accept(frame, message, now_us)
            case frames.Refuse():
                self._on_refuse(frame, message, now_us)
            case frames.Resumed():
                self._on_resumed(frame, message, now_us)
            case frames.Echo() | frames.Gone() | frames.Released() | frames.Repeat():
                told += self._on_session(frame, now_us)
        self._arm()
        told += self.told
        self.told = []
        return told

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        exchange = self._exchange
        if exchange is None or frame.header.session != exchange.number:
            return
        if self.step is Step.SEEK:
            self._offers.setdefault(offer.serial, frame)
        elif exchange.offer is not None and offer.serial != exchange.offer.serial:
            self._two_nodes([exchange.offer.serial, offer.serial], now_us)

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        reason = RefuseReason(refuse.reason)
        if self.step is Step.LOST:
            session = self.session
            if session and session.number == frame.header.session and reason is RefuseReason.NO_SESSION:
                self._happens(HostEvent.NO_SESSION, now_us, self.state.reason, _REFUSED[reason])
                self._seek(now_us)
            return
        exchange = self._exchange
        if exchange is None or frame.header.session != exchange.number:
            return
        if self.step is Step.SEEK:
            self._refusals.setdefault(refuse.serial, refuse)
        elif exchange.offer is not None and reason is RefuseReason.TWO_NODES:
            self._two_nodes([exchange.offer.serial, refuse.serial], now_us)
        elif self.step is Step.PROVE:
            self._unfit(_REFUSED[reason], _serials([refuse.serial]), now_us)

    def _on_accept(self, frame: Frame, accept: frames.Accept, now_us: int) -> None:
        exchange = self._exchange
        if self.step is not Step.PROVE or exchange is None or exchange.offer is None:
            return
        header, offer = frame.header, exchange.offer
        if header.session != exchange.number or accept.serial != offer.serial:
            return
        session = exchange.accepted(frame, accept)
        if session is None:
            detail = f"{_serials([accept.serial])}: its proof is wrong"
            self._happens(HostEvent.BAD_PROOF, now_us, Reason.WRONG_KEY, detail)
            return
        self.session, self._once_flowed, self._epoch, self._resume = session, True, 0, None
        self.gaps = Gaps(accept.next_sample, offer.buffer_samples)
        self._flows(HostEvent.ACCEPT, now_us)

    def _flows(self, event: HostEvent, now_us: int) -> None:
        self.heard_us = self._flow_us = self._ask_us = now_us
        self._beats = 0
        exchange = self._exchange
        offer = exchange.offer if exchange else None
        self._happens(event, now_us, "", _serials([offer.serial]) if offer else "")

    def _on_resumed(self, frame: Frame, resumed: frames.Resumed, now_us: int) -> None:
        session, asked = self.session, self._resume
        if session is None or asked is None or not session.ours(frame):
            return
        if (resumed.epoch, resumed.host_nonce) != (asked.epoch, asked.nonce):
            return
        if not session.resume.fits(frame.body, frame.tag):
            self.counters.refused += 1
            return
        session.turn(resumed.epoch, resumed.host_nonce, resumed.nonce)
        self._resume = None
        self.gaps.expect(resumed.next_sample, now_us)
        self._flows(HostEvent.RESUMED, now_us)

    def _on_session(self, frame: Frame, now_us: int) -> list[Told]:
        session, message = self.session, frame.message
        if session is None or not session.ours(frame) or self.step not in (Step.FLOW, Step.RELEASE):
            return []
        if not session.verify(frame):
            self.counters.refused += 1
            return []
        self.heard_us = now_us
        if isinstance(message, frames.Released):
            if self.step is Step.RELEASE:
                self.session = self._exchange = None
                self._happens(HostEvent.RELEASED, now_us)
        elif isinstance(message, frames.Gone):
            for first, count in message.ranges:
                self.gaps.gone(first, first + count)
        elif isinstance(message, frames.Echo):
            self.gaps.expect(message.next_sample, now_us)
            round_trip_us = now_us - message.host_t_us
            middle_us = message.host_t_us + round_trip_us // 2
            return [ClockReading(self.address, middle_us, message.node_t_us, round_trip_us)]
        elif isinstance(message, frames.Repeat):
            return self._filled(message, now_us)
        return []

    def _filled(self, repeat: frames.Repeat, now_us: int) -> list[Told]:
        if not self.gaps.take(repeat.first, repeat.rows, now_us):
            self.counters.unwanted += 1
            return []
        self.counters.filled += repeat.rows
        return [
            Samples(
                self.address, repeat.first, repeat.rows, repeat.channels, repeat.node_t_us, now_us,
                repeat.samples, repeat.status, resent=True,
            )
        ]  # fmt: skip

    # -- what time does ------------------------------------------------------------------------------

    def act(self, now_us: int) -> None:
        """Do what is due at this address."""
        match self.step:
            case Step.SEEK:
                if now_us >= self._ask_us:
                    self._window_over(now_us)
            case Step.PROVE:
                if now_us >= self._ask_us:
                    self._prove_again(now_us)
            case Step.FLOW:
                self._watch(now_us)
            case Step.LOST:
                if now_us >= self._ask_us:
                    self._take_up(now_us)
            case Step.RELEASE:
                if now_us >= self._ask_us:
                    self._release_again(now_us)
        self._arm()

    def _seek(self, at_us: int) -> None:
        number = self._dice.below(0xFFFF_FFFF) + 1
        self._exchange = HostExchange(self.card, self.expected, number, self._dice.octets(32))
        self.session, self._resume = None, None
        self._offers, self._refusals = {}, {}
        self._tries, self._ask_us = 0, at_us
        self._arm()

    def _window_over(self, now_us: int) -> None:
        """Judge what was heard; seek again, or for the first time, when nothing was."""
        offers, refusals = self._offers, self._refusals
        near = {s: r for s, r in refusals.items() if r.reason != RefuseReason.WRONG_NETWORK}
        serials = sorted(offers.keys() | near.keys())
        if len(serials) > 1:
            self._two_nodes(serials, now_us)
        elif offers:
            self._judge(next(iter(offers.values())), now_us)
        elif near:
            refuse = near[serials[0]]
            reason = _REFUSED[RefuseReason(refuse.reason)]
            self._unfit(reason, _why(refuse), now_us)
        elif self._tries < self.card.settings.tries:
            exchange = self._exchange
            assert exchange is not None
            self._tries += 1
            self._ask_us = now_us + self.card.settings.offer_window_us
            self.out.append((0, exchange.seek_frame))
        elif refusals:
            self._unfit(Reason.WRONG_NETWORK, "; ".join(map(_why, refusals.values())), now_us)
        else:
            self._gives_up(HostEvent.NOBODY, Reason.NOBODY, now_us)

    def _judge(self, frame: Frame, now_us: int) -> None:
        offer, exchange = frame.message, self._exchange
        assert isinstance(offer, Offer)
        assert exchange is not None
        who = _serials([offer.serial])
        sealed = self.expected.sealed_fingerprint
        low, high = self.card.versions
        if not low <= offer.version <= high:
            self._unfit(Reason.VERSION, f"{who} offers version {offer.version}", now_us)
        elif offer.channels < self.expected.cells:
            detail = f"{who} has {offer.channels} channels for {self.expected.cells} cells"
            self._unfit(Reason.FEW_CHANNELS, detail, now_us)
        elif sealed is not None and sealed != offer.fingerprint:
            detail = f"{who}: sealed {sealed.hex()}, found {offer.fingerprint.hex()}"
            self._unfit(Reason.FINGERPRINT, detail, now_us)
        else:
            prove = exchange.prove(frame, offer)
            if prove is None:
                self._unfit(Reason.WRONG_KEY, f"{who} offers a worthless public value", now_us)
                return
            self._happens(HostEvent.ONE_OFFER, now_us, self.state.reason, who)
            self._tries, self._ask_us = 1, now_us + self.card.settings.answer_timeout_us
            self.out.append((self.address, prove))

    def _prove_again(self, now_us: int) -> None:
        exchange = self._exchange
        assert exchange is not None
        if self._tries >= self.card.settings.tries:
            self._gives_up(HostEvent.UNANSWERED, Reason.TIMED_OUT, now_us)
            return
        self._tries += 1
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self.out.append((self.address, codec.seal(exchange.prove_body)))

    def _watch(self, now_us: int) -> None:
        """Liveness, beats, gaps."""
        settings, session = self.card.settings, self.session
        assert session is not None
        if now_us >= self.heard_us + settings.liveness_us:
            self._ask_us = now_us
            self._happens(HostEvent.SILENT, now_us, silent_for(now_us - self.heard_us), self.state.detail)
            self._take_up(now_us)
            return
        if now_us >= self._ask_us:
            self._beats += 1
            self._ask_us = now_us + (FIRST_BEAT_US if self._beats < FIRST_BEATS else settings.beat_us)
            self.out.append((self.address, session.control_frame(frames.Beat(now_us))))
            if max(session.data.highest, session.control.highest, session.sequence) >= REKEY_AT:
                self._ask_resume(session)
        ranges = self.gaps.ask(now_us)
        if ranges:
            self.out.append((self.address, session.control_frame(frames.Again(ranges))))

    def _take_up(self, now_us: int) -> None:
        """Try to go on after silence."""
        session = self.session
        if session is None:
            self._happens(HostEvent.AGAIN, now_us, self.state.reason, self.state.detail)
            self._seek(now_us)
            return
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self._ask_resume(session)

    def _ask_resume(self, session: Session) -> None:
        self._epoch += 1
        self._resume = frames.Resume(self._epoch, self._dice.octets(16))
        self.out.append((self.address, session.resume_frame(self._resume)))

    def _release_again(self, now_us: int) -> None:
        if self._tries >= self.card.settings.tries:
            detail = "release was not answered: the node stays bound until it is recommissioned"
            self.session = self._exchange = None
            self._happens(HostEvent.UNANSWERED, now_us, Reason.TIMED_OUT, detail)
            return
        self._tries += 1
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self.out.append((self.address, self._releasing))

    # -- steps ---------------------------------------------------------------------------------------

    def _two_nodes(self, serials: list[int], now_us: int) -> None:
        if self.step is Step.FLOW and now_us > self._flow_us + self.card.settings.answer_timeout_us:
            return  # no word without a tag ends a flow that has begun
        self._unfit(Reason.TWO_NODES, _serials(serials), now_us)

    def _unfit(self, reason: Reason, detail: str, now_us: int) -> None:
        self._once_flowed = False
        self._happens(HostEvent.UNFIT, now_us, reason, detail)

    def _gives_up(self, event: HostEvent, reason: Reason, now_us: int) -> None:
        again = self._once_flowed
        self._happens(event, now_us, self.state.reason if again else reason, f"at step {self.step}")
        self._ask_us = now_us + ABSENT_PAUSE_US

    def _happens(self, event: HostEvent, now_us: int, reason: str = "", detail: str = "") -> None:
        step = next_host_step(self.step, event, self._once_flowed)
        if step is None:
            return
        if step is Step.FAILED:
            self._exchange = self.session = None
        self.step = step
        state = LinkState(self.address, str(step), str(reason), detail, now_us)
        if (state.step, state.reason) != (self.state.step, self.state.reason):
            self.told.append(state)
            self.state = state

    def _arm(self) -> None:
        """Work out when to be asked again."""
        step = self.step
        if step in (Step.SEEK, Step.PROVE, Step.LOST, Step.RELEASE):
            self.wake_us = self._ask_us
        elif step is Step.FLOW:
            wake_us = min(self._ask_us, self.heard_us + self.card.settings.liveness_us)
            gap_us = self.gaps.due_us()
            self.wake_us = wake_us if gap_us is None else min(wake_us, gap_us)
        else:
            self.wake_us = None


def _serials(serials: list[int]) -> str:
    """Serial numbers for people: 16 hexadecimal digits, as on the node's plate."""
    return ("serial " if len(serials) == 1 else "serials ") + ", ".join(f"{s:016X}" for s in serials)


def _why(refuse: Refuse) -> str:
    who = _serials([refuse.serial])
    match refuse.reason:
        case RefuseReason.WRONG_NETWORK:
            return f"{who} is set to network {refuse.network}"
        case RefuseReason.VERSION:
            return f"{who} speaks versions {refuse.version_low} to {refuse.version_high}"
    return who
