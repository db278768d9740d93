"""The node's end: answers seeks, proves itself, streams its samples, sends again what is asked for.

Steps follow NODE_STEPS and nothing else.  Nothing is sent by receive: it lies ready until due is asked.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from heapq import heappop, heappush

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import Counts
from benchsim.link import batch, codec, data, frames, parts
from benchsim.link.codec import Bad, Frame
from benchsim.link.flow import Store
from benchsim.link.frames import FROM_NODE, Header, Kind, RefuseReason
from benchsim.link.limits import (
    EXCHANGE_LIFE_US,
    HOST_SILENT_BEATS,
    MAX_RANGES,
    REPEAT_SPACING_US,
    SEQUENCE_LAST,
)  # fmt: skip
from benchsim.link.pairing import NodeExchange
from benchsim.link.parts import NodeCard
from benchsim.link.session import Session
from benchsim.link.steps import NODE_STEPS, NodeEvent, Step


@dataclass(slots=True)
class NodeCounters:
    """What a node counted since its start."""

    bad_frames: int = 0
    bad_tags: int = 0
    sent: int = 0
    repeated: int = 0


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
        self.counters = NodeCounters()
        self.wake_us: int | None = None
        self._dice = dice
        self._node_time_us = node_time_us
        self._forget()

    def _forget(self) -> None:
        """Lose all that power keeps."""
        self.session: Session | None = None
        self._exchange: NodeExchange | None = None
        self._paired: NodeExchange | None = None
        self._store = Store(self.card.channels, self.card.buffer_samples)
        self._outbox: list[tuple[int, int, bytes]] = []
        self._put = 0
        self._built: deque[tuple[int, bytes]] = deque()
        self._unbuilt = 0
        self._k = 1
        self._lacking: deque[tuple[int, int]] = deque()
        self._repeat_us = 0
        self._heard_us = 0
        self._silence_us = 0

    # -- what the bench asks -------------------------------------------------------------------------

    @property
    def samples_per_frame(self) -> int | None:
        """k while flowing, else None."""
        return self._k if self.step is Step.FLOW else None

    def feed(self, block: Counts) -> None:
        """Take samples that will be complete at block.t_us; each frame goes when its last one is."""
        store = self._store
        sent = min(self._next_sample, block.first) if self.step is Step.FLOW else block.first
        store.feed(block, sent)
        if self.step is Step.FLOW:
            if store.first > self._unbuilt:
                self._unbuilt = self._aligned(store.first)
            self._arm()

    def receive(self, frame: bytes, now_us: int) -> None:
        """Hear a frame; whatever it is, it raises nothing."""
        heard = codec.read(frame)
        if isinstance(heard, Bad):
            self.counters.bad_frames += 1
            return
        if heard.header.address != self.card.strap:
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
        self._expire(now_us)
        if self.step is Step.FLOW and now_us >= self._heard_us + self._silence_us:
            self._happens(NodeEvent.SILENT)
            self._built.clear()
        out: list[bytes] = []
        while self._outbox and self._outbox[0][0] <= now_us:
            out.append(heappop(self._outbox)[2])
        if self.step is Step.FLOW:
            self._send_data(now_us, out)
            self._send_repeat(now_us, out)
        self._arm()
        return out, self.wake_us

    def recommission(self) -> None:
        """The deliberate act at the node: forget the host."""
        self._happens(NodeEvent.RECOMMISSION)
        self.bound_host = None
        self.session = self._exchange = self._paired = None
        self._built.clear()
        self._lacking.clear()
        self._arm()

    def restart(self, now_us: int, card: NodeCard | None = None) -> None:
        """A power cycle, with another card when one is given; only the binding is kept."""
        if card is not None:
            parts.check_node(card)
            self.card = card
        self._happens(NodeEvent.RESTART)
        self._forget()
        self._arm()

    # -- pairing -------------------------------------------------------------------------------------

    def _on_seek(self, frame: Frame, seek: frames.Seek, now_us: int) -> None:
        header = frame.header
        wait_us = self._dice.below(seek.offer_window_us // 2)
        if header.network != self.card.network:
            if self.session is None and self.bound_host is None and self._exchange is None:
                self._refuse(header, RefuseReason.WRONG_NETWORK, now_us + wait_us)
            return
        if self.session is not None and header.session == self.session.number:
            return
        if self.bound_host not in (None, seek.host_id):
            self._refuse(header, RefuseReason.BOUND, now_us + wait_us)
            return
        low = max(seek.version_low, self.card.versions[0])
        version = min(seek.version_high, self.card.versions[1])
        if version < low:
            self._refuse(header, RefuseReason.VERSION, now_us + wait_us)
            return
        exchange = self._exchange
        if exchange is None or exchange.seek_body != frame.body:
            if exchange is not None and exchange.seek.host_id != seek.host_id:
                return  # busy with another host until that exchange is too old
            exchange = NodeExchange(
                self.card, seek, frame.body, header.session, version, now_us, self._dice.octets(32)
            )
            self._exchange = exchange
        exchange.begun_us = now_us
        self._happens(NodeEvent.SEEK)
        self._post(now_us + wait_us, exchange.offer_frame)

    def _on_prove(self, frame: Frame, prove: frames.Prove, now_us: int) -> None:
        header = frame.header
        paired = self._paired
        if paired is not None and self.session is not None and paired.prove_body == frame.body:
            self._post(now_us, paired.accept_frame)  # the accept was lost
            return
        exchange = self._exchange
        if exchange is None or (header.session, header.version, header.network) != (
            exchange.number, exchange.version, self.card.network
        ):  # fmt: skip
            return
        exchange.begun_us = now_us
        if prove.serial != self.card.serial:
            self._refuse(header, RefuseReason.TWO_NODES, now_us)
            return
        k = exchange.samples_per_frame
        next_sample = self._aligned(self._store.first_after(now_us), k)
        session = exchange.proven(frame, prove, next_sample)
        if session is None:
            self._happens(NodeEvent.BAD_PROOF)
            self._refuse(header, RefuseReason.WRONG_KEY, now_us)
            return
        self.session, self._paired, self._exchange = session, exchange, None
        self.bound_host = exchange.seek.host_id
        self._k = k
        self._silence_us = HOST_SILENT_BEATS * exchange.seek.beat_us
        self._begin(next_sample, now_us)
        self._happens(NodeEvent.PROVEN)
        self._post(now_us, exchange.accept_frame)

    def _refuse(self, header: Header, reason: RefuseReason, at_us: int) -> None:
        """Say no in the words, network and session of whoever asked."""
        card = self.card
        said = Header(header.version, Kind.REFUSE, header.network, card.strap, FROM_NODE, header.session, 0)
        message = frames.Refuse(reason, card.serial, card.network, *card.versions)
        self._post(at_us, codec.seal(codec.body_of(said, message)))

    def _expire(self, now_us: int) -> None:
        exchange = self._exchange
        if exchange is not None and now_us >= exchange.begun_us + EXCHANGE_LIFE_US:
            self._exchange = None
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
            self.counters.bad_tags += 1
            return
        nonce = self._dice.octets(16)
        next_sample = self._aligned(self._store.first_after(now_us))
        answer = frames.Resumed(resume.epoch, resume.nonce, nonce, next_sample)
        self._post(now_us, session.resume_frame(answer))
        session.turn(resume.epoch, resume.nonce, nonce)
        self._begin(next_sample, now_us)
        self._happens(NodeEvent.RESUME)

    def _on_session(self, frame: Frame, now_us: int) -> None:
        session = self.session
        if session is None or not session.ours(frame):
            return
        if not session.verify(frame):
            self.counters.bad_tags += 1
            return
        message = frame.message
        if isinstance(message, frames.Release):
            self._happens(NodeEvent.RELEASE)
            session.over, self.bound_host = True, None
            self._built.clear()
            self._post(now_us, session.control_frame(frames.Released(message.host_t_us)))
            return
        if session.over:
            return
        self._heard_us = now_us
        if self.step is Step.LOST:
            self._begin(self._aligned(self._store.first_after(now_us)), now_us)
            self._happens(NodeEvent.BEAT)
        if isinstance(message, frames.Beat):
            echo = frames.Echo(message.host_t_us, self._node_time_us(now_us), self._next_sample)
            self._post(now_us, session.control_frame(echo))
        elif isinstance(message, frames.Again):
            self._lacking = deque((a, a + n) for a, n in message.ranges)
            self._drop_gone(now_us)

    def _begin(self, next_sample: int, now_us: int) -> None:
        """Let the flow begin, or go on, at a sample."""
        self._built.clear()
        self._lacking.clear()
        self._unbuilt = next_sample
        self._heard_us = now_us

    def _aligned(self, sample: int, k: int | None = None) -> int:
        """The first frame boundary at or after a sample: frames begin at whole multiples of k."""
        k = k or self._k
        return -(-sample // k) * k

    @property
    def _next_sample(self) -> int:
        """The first sample not sent yet."""
        return self._unbuilt - len(self._built) * self._k

    def _send_data(self, now_us: int, out: list[bytes]) -> None:
        built = self._built
        if not built:
            self._build()
        while built and built[0][0] <= now_us:
            out.append(built.popleft()[1])
            self.counters.sent += 1

    def _build(self) -> None:
        """Make all the frames that the fed samples allow, ahead of their time."""
        store, k, session = self._store, self._k, self.session
        assert session is not None
        ready = (store.end - self._unbuilt) // k
        ready = min(ready, SEQUENCE_LAST + 1 - session.data_sequence)
        if ready <= 0:
            return
        first = self._unbuilt
        self._built.extend(batch.build(session, store, first, ready, k))
        session.data_sequence += ready
        self._unbuilt = first + ready * k

    def _drop_gone(self, now_us: int) -> None:
        """Tell the host at once which of the samples it lacks are no longer kept."""
        session, keep = self.session, deque[tuple[int, int]]()
        assert session is not None
        gone: list[tuple[int, int]] = []
        sent = self._next_sample
        oldest = max(self._store.first, sent - self.card.buffer_samples)
        for first, end in self._lacking:
            if first < oldest:
                gone.append((first, min(end, oldest) - first))
            if max(first, oldest) < min(end, sent):
                keep.append((max(first, oldest), min(end, sent)))
        self._lacking = keep
        if gone:
            self._post(now_us, session.control_frame(frames.Gone(tuple(gone[:MAX_RANGES]))))

    def _send_repeat(self, now_us: int, out: list[bytes]) -> None:
        """One frame of what the host lacks, then a pause for the others on the medium."""
        session = self.session
        assert session is not None
        if not self._lacking or now_us < self._repeat_us:
            return
        first, end = self._lacking.popleft()
        rows = min(self._k, end - first)
        if first + rows < end:
            self._lacking.appendleft((first + rows, end))
        if first >= self._store.first:
            cut = self._store.rows(first, first + rows)
            out.append(data.make(session, Kind.REPEAT, session.sequence, first, cut, rows))
            session.sequence += 1
            self.counters.repeated += 1
        self._repeat_us = now_us + REPEAT_SPACING_US

    # -- time and steps ------------------------------------------------------------------------------

    def _happens(self, event: NodeEvent) -> None:
        self.step = NODE_STEPS.get((self.step, event), self.step)

    def _post(self, at_us: int, frame: bytes) -> None:
        self._put += 1
        heappush(self._outbox, (at_us, self._put, frame))

    def _arm(self) -> None:
        """Work out when to be asked again."""
        times = []
        if self._outbox:
            times.append(self._outbox[0][0])
        if self._exchange is not None:
            times.append(self._exchange.begun_us + EXCHANGE_LIFE_US)
        if self.step is Step.FLOW:
            times.append(self._heard_us + self._silence_us)
            if self._built:
                times.append(self._built[0][0])
            elif self._unbuilt + self._k <= self._store.end:
                times.append(self._store.time_us(self._unbuilt + self._k - 1))
            if self._lacking:
                times.append(self._repeat_us)
        self.wake_us = min(times, default=None)
