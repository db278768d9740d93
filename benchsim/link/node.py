"""The node's end: answers seeks, proves itself, streams its samples, sends again what is asked for.

Steps follow NODE_STEPS and nothing else.  Nothing is sent by receive: it lies ready until due is asked.
"""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import Counts
from benchsim.link import codec, data, frames, parts
from benchsim.link.codec import Bad, Frame
from benchsim.link.frames import FROM_NODE, Header, Kind, Message, RefuseReason
from benchsim.link.limits import ANSWERS_KEPT, EXCHANGE_LIFE_US, HOST_SILENT_BEATS, MAX_RANGES
from benchsim.link.pairing import NodeExchange
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.link.steps import NODE_STEPS, NodeEvent, Step
from benchsim.link.stream import NEVER_US, Stream


class NodeEnd:
    """One node on the link.

    card: who it is.  dice: its private keys, nonces and delays.  node_time_us: what its clock shows at a
    bench time.  Raises BadInput for a card that cannot be.
    """

    def __init__(self, card: NodeCard, dice: Dice, node_time_us: Callable[[int], int]) -> None:
        parts.check_node(card)
        self.card = card
        self.step = Step.IDLE
        self.bound_host: int | None = None
        self.bad_frames = self.bad_tags = 0
        self._dice = dice
        self._node_time_us = node_time_us
        self._forget()

    def _forget(self) -> None:
        """Lose all that power keeps."""
        self.stream = Stream(self.card.channels, self.card.buffer_samples)
        self._drop()
        self._outbox: list[tuple[int, int, bytes]] = []
        self._put = 0

    def _drop(self) -> None:
        """Lose the session and all talk about one."""
        self.stream.stop()
        self.session: Session | None = None
        self._exchange: NodeExchange | None = None
        self._paired: NodeExchange | None = None
        self._heard_us = self._silence_us = 0
        self._offer_us = NEVER_US
        self._wake_us = NEVER_US

    # -- what the bench asks -------------------------------------------------------------------------

    @property
    def wake_us(self) -> int | None:
        """When to ask due again; None: not before something is fed or received."""
        return None if self._wake_us == NEVER_US else self._wake_us

    @property
    def samples_per_frame(self) -> int | None:
        """k while flowing, else None."""
        return self.stream.k if self.step is Step.FLOW else None

    def feed(self, block: Counts) -> None:
        """Take samples that will be complete at block.t_us; each frame goes when its last one is."""
        self.stream.feed(block)
        self._arm()

    def receive(self, frame: bytes, now_us: int) -> None:
        """Hear a frame; whatever it is, it raises nothing."""
        if not data.whole(frame):
            self.bad_frames += 1
            return
        if frame[4] != self.card.strap:
            return
        heard = codec.read(frame)
        if isinstance(heard, Bad):
            self.bad_frames += 1
            return
        self._expire(now_us)
        message = heard.message
        match message:
            case frames.Seek():
                self._on_seek(heard, message, now_us)
            case frames.Prove():
                self._on_prove(heard, message, now_us)
            case frames.Resume():
                self._on_resume(heard, message, now_us)
            case frames.Beat() | frames.Again() | frames.Release():
                self._on_session(heard, now_us)
        self._arm()

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        """Frames to send now, and when to ask again (None: not before something is fed or received)."""
        if self._exchange is not None:
            self._expire(now_us)
        out: list[bytes] = []
        while self._outbox and self._outbox[0][0] <= now_us:
            out.append(heappop(self._outbox)[2])
        if self._exchange is not None and now_us >= self._offer_us:
            self._offer_us = NEVER_US
            out.append(self._exchange.offer_frame)
        if self.step is Step.FLOW:
            if now_us >= self._heard_us + self._silence_us:
                self._happens(NodeEvent.SILENT)
                self.stream.stop()
            else:
                self.stream.due(now_us, out)
        self._arm()
        return out, None if self._wake_us == NEVER_US else self._wake_us

    def recommission(self) -> None:
        """The deliberate act at the node: forget the host."""
        self._happens(NodeEvent.RECOMMISSION)
        self.bound_host = None
        self._drop()
        self._arm()

    def restart(self, now_us: int, card: NodeCard | None = None) -> None:
        """A power cycle, with another card when one is given; only the binding is kept."""
        if card is not None:
            parts.check_node(card)
            self.card = card
        self._happens(NodeEvent.RESTART)
        self._forget()

    # -- pairing -------------------------------------------------------------------------------------

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        header, card = frame.header, self.card
        at_us = now_us + self._dice.below(seek.offer_window_us // 2)
        version = min(seek.version_high, card.versions[1])
        if header.network != card.network:
            works = self.session is not None and not self.session.over
            if not works and self.bound_host is None and self._exchange is None:
                self._refuse(header, RefuseReason.WRONG_NETWORK, at_us)
        elif self.bound_host not in (None, seek.host_id):
            self._refuse(header, RefuseReason.BOUND, at_us)
        elif version < max(seek.version_low, card.versions[0]):
            self._refuse(header, RefuseReason.VERSION, at_us)
        else:
            self._offer(frame, seek, version, now_us, at_us)

    def _offer(self, frame: Frame, seek: frames.Seek, version: int, now_us: int, at_us: int) -> None:
        exchange = self._exchange
        if exchange is None or exchange.seek_body != frame.body:
            if exchange is not None and exchange.seek.host_id != seek.host_id:
                return  # busy with another host until that exchange is too old
            private = self._dice.octets(32)
            exchange = NodeExchange(
                self.card, seek, frame.body, frame.header.session, version, now_us, private
            )
            self._exchange, self._offer_us = exchange, at_us
        elif self._offer_us == NEVER_US:  # one offer waits to go, however many copies of the seek come
            self._offer_us = at_us
        self._happens(NodeEvent.SEEK)

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        paired, exchange = self._paired, self._exchange
        if frame.header.network != self.card.network:
            return
        if prove.serial != self.card.serial:
            self._refuse(frame.header, RefuseReason.TWO_NODES, now_us)
            return
        if paired is not None and paired.prove_body == frame.body:
            self._post(now_us, paired.accept_frame)  # the accept was lost
            return
        if exchange is None or not exchange.ours(frame.header):
            self._refuse(frame.header, RefuseReason.NO_SESSION, now_us)
            return
        k = exchange.samples_per_frame
        next_sample = self.stream.boundary(now_us, k)
        session = exchange.proven(frame, prove, next_sample)
        if session is None:
            self._happens(NodeEvent.BAD_PROOF)
            self._refuse(frame.header, RefuseReason.WRONG_KEY, now_us)
            return
        self.session, self._paired, self._exchange = session, exchange, None
        self._offer_us = NEVER_US
        self.bound_host = exchange.seek.host_id
        self._silence_us = HOST_SILENT_BEATS * exchange.seek.beat_us
        self._heard_us = now_us
        self.stream.begin(session, k, next_sample)
        self._happens(NodeEvent.PROVEN)
        self._post(now_us, exchange.accept_frame)

    def _refuse(self, header: Header, reason: RefuseReason, at_us: int) -> None:
        """Say no in the version, network and session of whoever asked."""
        card = self.card
        said = Header(header.version, Kind.REFUSE, header.network, card.strap, FROM_NODE, header.session, 0)
        message = frames.Refuse(reason, card.serial, card.network, *card.versions)
        if len(self._outbox) < ANSWERS_KEPT:
            self._post(at_us, codec.seal(codec.body_of(said, message)))

    def _expire(self, now_us: int) -> None:
        exchange = self._exchange
        if exchange is not None and now_us >= _end_of(exchange):
            self._exchange, self._offer_us = None, NEVER_US
            self._happens(NodeEvent.EXPIRED)

    # -- the session ---------------------------------------------------------------------------------

    def _on_resume(self, frame: Frame, resume: frames.Resume, now_us: int) -> None:
        session = self.session
        if session is None or not session.ours(frame):
            if frame.header.network == self.card.network:
                self._refuse(frame.header, RefuseReason.NO_SESSION, now_us)
            return
        if resume.epoch <= session.epoch or session.over:
            return
        if not session.resume.fits(frame.body, frame.tag):
            self.bad_tags += 1
            return
        nonce = self._dice.octets(16)
        next_sample = self.stream.boundary(now_us, self.stream.k)
        answer = frames.Resumed(resume.epoch, resume.nonce, nonce, next_sample)
        self._post(now_us, session.resume_frame(answer))
        self.stream.stop()
        session.turn(resume.epoch, resume.nonce, nonce)
        self.stream.begin(session, self.stream.k, next_sample)
        self._heard_us = now_us
        self._happens(NodeEvent.RESUME)

    def _on_session(self, frame: Frame, now_us: int) -> None:
        session, message = self.session, frame.message
        if session is None or not session.ours(frame):
            return
        if not session.verify(frame):
            self.bad_tags += 1
            return
        if isinstance(message, frames.Release):
            self._happens(NodeEvent.RELEASE)
            session.over, self.bound_host = True, None
            self.stream.stop()
            self._tell(session, frames.Released(message.host_t_us), now_us)
            return
        if session.over:
            return
        self._heard_us = now_us
        if self.step is Step.LOST:
            k = self.stream.k
            self.stream.begin(session, k, self.stream.boundary(now_us, k))
            self._happens(NodeEvent.BEAT)
        if isinstance(message, frames.Beat):
            echo = frames.Echo(message.host_t_us, self._node_time_us(now_us), self.stream.next_sample)
            self._tell(session, echo, now_us)
        elif isinstance(message, frames.Again):
            gone = self.stream.lacking(message.ranges, now_us)
            if gone:
                self._tell(session, frames.Gone(tuple(gone[:MAX_RANGES])), now_us)

    # -- time and steps ------------------------------------------------------------------------------

    def _happens(self, event: NodeEvent) -> None:
        self.step = NODE_STEPS.get((self.step, event), self.step)

    def _tell(self, session: Session, message: Message, now_us: int) -> None:
        if not session.spent:
            self._post(now_us, session.control_frame(message))

    def _post(self, at_us: int, frame: bytes) -> None:
        if any(waiting == frame for _, _, waiting in self._outbox):
            return
        self._put += 1
        heappush(self._outbox, (at_us, self._put, frame))

    def _arm(self) -> None:
        """Work out when to be asked again."""
        wake_us = self._outbox[0][0] if self._outbox else NEVER_US
        if self._exchange is not None:
            wake_us = min(wake_us, _end_of(self._exchange), self._offer_us)
        if self.step is Step.FLOW:
            wake_us = min(wake_us, self._heard_us + self._silence_us, self.stream.wake_us())
        self._wake_us = wake_us


def _end_of(exchange: NodeExchange) -> int:
    """When an exchange is too old.  Nothing unproven makes it live longer: it counts from its first seek."""
    return exchange.begun_us + exchange.seek.offer_window_us + EXCHANGE_LIFE_US
