"""The host's side of one address: seek, judge what answers, prove, watch the flow, take it up again.

Steps follow HOST_STEPS and nothing else.  What is to be sent lies in `out`, what the caller is to be told
is returned or lies in `told`.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Offer, Refuse, RefuseReason
from benchsim.link.gaps import Gaps
from benchsim.link.judge import REFUSED, Asked, Heard, Known, names, shortage, why
from benchsim.link.limits import ABSENT_PAUSE_US, NO_NUMBER, SERIALS_KEPT
from benchsim.link.pairing import HostExchange
from benchsim.link.parts import Expected, HostCard
from benchsim.link.steps import HostEvent, Reason, Step, next_host_step, silent_for
from benchsim.link.watch import Agreed, Watch, WatchCounters

Told = Samples | ClockReading | LinkState

MAY_BE_BOUND = "the node was not heard to let go: it may still be bound until it is recommissioned"


class Seat:
    """One address."""

    def __init__(self, card: HostCard, expected: Expected, dice: Dice) -> None:
        self.card, self.expected, self.address = card, expected, expected.address
        self.state = LinkState(self.address, str(Step.IDLE))
        self.step = Step.IDLE
        self.counters = WatchCounters()
        self.watch: Watch | None = None
        self.out: list[tuple[int, bytes]] = []
        self.told: list[LinkState] = []
        self.wake_us: int | None = None
        self._dice = dice
        self._exchange: HostExchange | None = None
        self._heard = Heard()
        self._asked = Asked()
        self._known: Known | None = None
        self._others: set[int] = set()
        self._stale = False
        self._tries = self._rounds = self._doubts = 0
        self._ask_us = self._accepted_us = 0

    @property
    def _once_flowed(self) -> bool:
        return self._known is not None

    # -- what a person asks --------------------------------------------------------------------------

    def pair(self, now_us: int, wait_us: int = 0) -> None:
        """Begin to pair, from whatever step."""
        self._known = None
        self._rounds = self._doubts = 0
        self._asked = Asked()
        self._happens(HostEvent.PAIR, now_us)
        short = shortage(self.card, self.expected)
        if short:
            self._happens(HostEvent.SHORT, now_us, Reason.FEW_ADDRESSES, short)
            self._arm()
        else:
            self._seek(now_us + wait_us)

    def release(self, now_us: int) -> None:
        """Let the node go in good order; nothing can tell it when there is no session."""
        if self.watch is not None and self.step in (Step.FLOW, Step.LOST):
            self._tries, self._ask_us, self._stale = 0, now_us, self.step is Step.LOST
            self._happens(HostEvent.RELEASE, now_us)
        else:
            self._happens(HostEvent.LET_GO, now_us, "", MAY_BE_BOUND)
        self._arm()

    # -- what is heard -------------------------------------------------------------------------------

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        """A data frame whose CRC is right."""
        watch = self.watch
        if watch is None or self.step is not Step.FLOW:
            return ()
        samples = watch.take(frame, now_us)
        if watch.trial is not None:
            self._judge_trial(watch, now_us)
        if watch.gaps.gaps or self.told:
            self._arm()
        return () if samples is None else (samples,)

    def hear_broken(self) -> None:
        """A frame that claims to be of this address and network, and whose CRC is wrong."""
        if self.step in (Step.SEEK, Step.PROVE):
            self._asked.broken += 1

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
            case frames.Echo() | frames.Gone() | frames.Repeat() | frames.Released():
                said = self._on_session(frame, now_us)
                told += [] if said is None else [said]
        self._arm()
        told += self.told
        self.told = []
        return told

    def _on_offer(self, frame: Frame, offer: Offer, now_us: int) -> None:
        exchange = self._exchange
        if exchange is None or frame.header.session != exchange.number:
            return
        asked = self.card.settings.samples_per_frame
        if offer.samples_per_frame > asked or offer.version != frame.header.version:
            self.counters.refused += 1  # no answer to what was asked
            return
        if self.step is Step.SEEK:
            self._heard.offer(offer.serial, frame)
        elif exchange.offer is not None and offer.serial != exchange.offer.serial:
            self._two_nodes(exchange.offer.serial, offer.serial, now_us)

    def _on_refuse(self, frame: Frame, refuse: Refuse, now_us: int) -> None:
        number, exchange = frame.header.session, self._exchange
        if self.step is Step.LOST:
            if self.watch is not None and self.watch.session.number == number:
                self._refused_resume(refuse, now_us)
        elif exchange is None or exchange.number != number:
            return
        elif self.step is Step.SEEK:
            self._heard.refuse(refuse)
        elif refuse.reason == RefuseReason.WRONG_NETWORK:
            return  # a neighbour's late word; our node has offered
        elif exchange.offer is not None and refuse.serial != exchange.offer.serial:
            self._two_nodes(exchange.offer.serial, refuse.serial, now_us)
        elif self.step is Step.PROVE:
            self._refused_prove(refuse, now_us)

    def _refused_resume(self, refuse: Refuse, now_us: int) -> None:
        """The node has no session: seek it anew.  Another that says so waits for the node's own answer."""
        reason = RefuseReason(refuse.reason)
        if reason is not RefuseReason.NO_SESSION or self._known is None:
            return
        if refuse.serial == self._known.serial:
            self._happens(HostEvent.NO_SESSION, now_us, self.state.reason, REFUSED[reason])
            self._seek(now_us)
        elif len(self._others) < SERIALS_KEPT:
            self._others.add(refuse.serial)

    def _refused_prove(self, refuse: Refuse, now_us: int) -> None:
        """The node that was asked says no to the proof."""
        reason = RefuseReason(refuse.reason)
        if reason is RefuseReason.NO_SESSION:
            self._start_over(HostEvent.NO_SESSION, now_us)
        elif reason is RefuseReason.WRONG_KEY:  # or it has lost power and made another offer since
            self._doubts += 1
            if self._doubts == 1:
                self._happens(HostEvent.DOUBT, now_us, self.state.reason, self.state.detail)
                self._seek(now_us)
            elif self._known is None:
                self._unfit(Reason.WRONG_KEY, why(refuse), now_us)
            else:
                self._gives_up(HostEvent.UNANSWERED, Reason.WRONG_KEY, now_us, why(refuse))
        elif reason is not RefuseReason.TWO_NODES:
            self._unfit(REFUSED[reason], why(refuse), now_us)

    def _on_accept(self, frame: Frame, accept: frames.Accept, now_us: int) -> None:
        exchange = self._exchange
        if self.step is not Step.PROVE or exchange is None or exchange.offer is None:
            return
        offer, who = exchange.offer, names([accept.serial])
        if frame.header.session != exchange.number or accept.serial != offer.serial:
            return
        if accept.next_sample >= NO_NUMBER:
            return
        session = exchange.accepted(frame, accept)
        if session is None:
            self._gives_up(HostEvent.BAD_PROOF, Reason.WRONG_KEY, now_us, f"{who}: its proof is wrong")
            return
        gaps = Gaps(accept.next_sample, offer.buffer_samples)
        agreed = Agreed(offer.samples_per_frame, offer.channels, offer.rate_hz)
        self.watch = Watch(session, gaps, self.card.settings, self._dice, self.counters, agreed)
        self.watch.begin(now_us)
        if self._known is None:
            self.watch.on_trial()
        self._known = Known(offer.serial, offer.fingerprint, offer.rate_hz)
        self._accepted_us = now_us
        self._rounds = self._doubts = 0
        self._happens(HostEvent.ACCEPT, now_us, "", who)

    def _on_resumed(self, frame: Frame, resumed: frames.Resumed, now_us: int) -> None:
        watch, known = self.watch, self._known
        if watch is None or known is None or self.step not in (Step.FLOW, Step.LOST, Step.RELEASE):
            return
        if not watch.resumed(frame, resumed, now_us):
            return
        detail = names([known.serial])
        if self._others:  # they cannot make anything flow, but a technician wants to know
            detail += f"; here answers too: {names(sorted(self._others))}"
            self._others = set()
        self._happens(HostEvent.RESUMED, now_us, "", detail)
        if self.step is Step.RELEASE:
            self._stale = False
            self._ask_release(now_us)

    def _on_session(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        watch = self.watch
        if watch is None:
            return None
        if self.step is Step.RELEASE:
            if isinstance(frame.message, frames.Released) and watch.verify(frame, now_us):
                self._happens(HostEvent.RELEASED, now_us)
            return None
        if self.step is not Step.FLOW or not watch.verify(frame, now_us):
            return None
        heard = watch.hear(frame, now_us)
        self._judge_trial(watch, now_us)
        return heard

    def _judge_trial(self, watch: Watch, now_us: int) -> None:
        """A person has asked to pair: a link that cannot carry the flow is told at once."""
        poor = watch.tried()
        if poor:
            self._happens(HostEvent.POOR, now_us, Reason.POOR, poor)

    # -- what time does ------------------------------------------------------------------------------

    def act(self, now_us: int) -> None:
        """Do what is due at this address."""
        if self.step is Step.FLOW:
            if self.watch is not None and self.watch.wake_us() > now_us:
                self._arm()  # an alarm of before the last data frames
                return
            self._flow(now_us)
        elif now_us >= self._ask_us:
            match self.step:
                case Step.SEEK:
                    self._window_over(now_us)
                case Step.PROVE:
                    self._prove_again(now_us)
                case Step.LOST:
                    self._take_up(now_us)
                case Step.RELEASE:
                    self._release_again(now_us)
        self._arm()

    def _seek(self, at_us: int) -> None:
        number = self._dice.below(0xFFFF_FFFF) + 1
        self._exchange = HostExchange(self.card, self.expected, number, self._dice.octets(32))
        self.watch = None
        self._heard, self._others = Heard(), set()
        self._tries, self._ask_us = 0, at_us
        self._arm()

    def _window_over(self, now_us: int) -> None:
        """Judge what was heard; seek again, or for the first time, when nothing was."""
        exchange, settings = self._exchange, self.card.settings
        assert exchange is not None
        verdict = self._heard.verdict(self.expected, self.card.versions, self._known)
        if verdict is not None:
            self._asked.windows += 1
            self._answer(exchange, verdict.frame, verdict.reason, verdict.detail, now_us)
        elif self._tries < settings.tries:
            self._tries += 1
            self._asked.seeks += 1
            self._ask_us = now_us + settings.offer_window_us
            self.out.append((0, exchange.seek_frame))
        else:
            elsewhere = self._heard.elsewhere
            reason = Reason.WRONG_NETWORK if elsewhere else Reason.NOBODY
            self._gives_up(HostEvent.NOBODY, reason, now_us, elsewhere)

    def _answer(
        self, exchange: HostExchange, frame: Frame | None, reason: Reason, detail: str, now_us: int
    ) -> None:
        if frame is None:
            self._unfit(reason, detail, now_us)
            return
        prove = exchange.prove(frame)
        if prove is None:
            self._unfit(Reason.WRONG_KEY, f"{detail} offers a worthless public value", now_us)
            return
        self._happens(HostEvent.ONE_OFFER, now_us, self.state.reason, detail)
        self._tries, self._ask_us = 1, now_us + self.card.settings.answer_timeout_us
        self._asked.proves += 1
        self.out.append((self.address, prove))

    def _prove_again(self, now_us: int) -> None:
        exchange = self._exchange
        assert exchange is not None
        if self._tries >= self.card.settings.tries:
            poor = self._asked.poor
            self._gives_up(HostEvent.UNANSWERED, Reason.POOR if poor else Reason.TIMED_OUT, now_us, poor)
            return
        self._tries += 1
        self._asked.proves += 1
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self.out.append((self.address, codec.seal(exchange.prove_body)))

    def _start_over(self, event: HostEvent, now_us: int) -> None:
        """The node forgot its offer: seek again, but not for ever."""
        self._rounds += 1
        if self._rounds >= self.card.settings.tries:
            self._gives_up(HostEvent.UNANSWERED, Reason.TIMED_OUT, now_us)
            return
        self._happens(event, now_us, self.state.reason, self.state.detail)
        self._seek(now_us)

    def _flow(self, now_us: int) -> None:
        watch = self.watch
        assert watch is not None
        silence_us = watch.silence_us(now_us)
        if silence_us:
            self._happens(HostEvent.SILENT, now_us, silent_for(silence_us), self.state.detail)
            self._take_up(now_us)
        else:
            self.out += [(self.address, frame) for frame in watch.due(now_us)]

    def _take_up(self, now_us: int) -> None:
        """Try to go on after silence: with the session, or by pairing when the node has none."""
        if self.watch is None or self._others:  # only others answered a resume: look who is there
            self._rounds = self._doubts = 0
            self._happens(HostEvent.AGAIN, now_us, self.state.reason, self.state.detail)
            self._seek(now_us)
            return
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self.out.append((self.address, self.watch.resume(now_us)))

    def _release_again(self, now_us: int) -> None:
        if self._tries >= self.card.settings.tries:
            self._happens(HostEvent.UNANSWERED, now_us, Reason.TIMED_OUT, MAY_BE_BOUND)
            return
        self._tries += 1
        self._ask_us = now_us + self.card.settings.answer_timeout_us
        self._ask_release(now_us)

    def _ask_release(self, now_us: int) -> None:
        """After silence the node may be an epoch ahead: only a resume is sure to be understood."""
        watch = self.watch
        assert watch is not None
        if self._stale:
            self.out.append((self.address, watch.resume(now_us)))
        elif not watch.session.spent:
            self.out.append((self.address, watch.session.control_frame(frames.Release(now_us))))

    # -- steps ---------------------------------------------------------------------------------------

    def _two_nodes(self, one: int, other: int, now_us: int) -> None:
        """Two serials were heard.  No word without a tag ends a flow that has long begun."""
        heeded_us = self._accepted_us + self.card.settings.answer_timeout_us
        if self.step is Step.PROVE or (self.step is Step.FLOW and now_us <= heeded_us):
            self._unfit(Reason.TWO_NODES, names([one, other]), now_us)

    def _unfit(self, reason: Reason, detail: str, now_us: int) -> None:
        self._happens(HostEvent.UNFIT, now_us, reason, detail)

    def _gives_up(self, event: HostEvent, reason: Reason, now_us: int, why: str = "") -> None:
        """No good answer: failed, or still lost when it has flowed before."""
        detail = why or f"at step {self.step}"
        if self._known is None:
            self._happens(event, now_us, reason, detail)
        else:
            self._happens(event, now_us, self.state.reason, f"{reason}: {detail}")
        self._ask_us = now_us + ABSENT_PAUSE_US

    def _happens(self, event: HostEvent, now_us: int, reason: str = "", detail: str = "") -> None:
        step = next_host_step(self.step, event, self._once_flowed)
        if step is None:
            return
        if step is Step.FAILED:
            where = f"at step {self.step}"
            detail = detail if where in detail else f"{detail}, {where}" if detail else where
        if step in (Step.FAILED, Step.RELEASED):
            self._exchange = self.watch = self._known = None
        self.step = step
        state = LinkState(self.address, str(step), str(reason), str(detail), now_us)
        if (state.step, state.reason) != (self.state.step, self.state.reason):
            self.told.append(state)
            self.state = state

    def _arm(self) -> None:
        """Work out when to be asked again."""
        if self.step is Step.FLOW and self.watch is not None:
            self.wake_us = self.watch.wake_us()
        elif self.step in (Step.SEEK, Step.PROVE, Step.LOST, Step.RELEASE):
            self.wake_us = self._ask_us
        else:
            self.wake_us = None
