"""The bench and its clients, live: one loop, no locks.  The bench runs in the loop and so do its clients.

Rims (serial_port.py, sockets.py) only carry bytes; what a client is owed stands here and in its
conversation.  Whatever one client does or fails to do, the others and the bench go on.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from benchsim.ground.commands import Command, InstrumentCommand
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event, Indication, InstrumentCard, LinkState, Outcome
from benchsim.outputs.output import open_conversation
from benchsim.serve.lines import Line
from benchsim.serve.pacing import Pacer

KEPT_US = 3_600_000_000  # of bench time: how much of what happened is kept
FORGET_EACH_US = 60_000_000
MOST_EVENTS = 20_000  # whatever clients do
BENCH = "bench"


class Happenings(Protocol):
    """Where events and link states are kept."""

    events: list[Event]
    link_states: list[tuple[int, LinkState]]
    events_gone: int
    link_states_gone: int

    def happened(self, event: Event) -> None: ...
    def forget_before(self, t_us: int, most_events: int | None = None) -> None: ...


class LiveBench(Protocol):
    """As much of the bench as serving needs."""

    @property
    def now_us(self) -> int: ...
    @property
    def indication(self) -> Indication: ...
    @property
    def trace(self) -> Happenings: ...
    @property
    def loads(self) -> tuple[str, ...]: ...
    def run(self, until_us: int) -> None: ...
    def do(self, command: Command) -> Outcome: ...
    def watch(self, callback: Callable[[Indication], None]) -> None: ...


@dataclass(frozen=True, slots=True)
class Exchange:
    """Octets that a client got.  asked: what it had sent; b"" when the instrument spoke of itself.

    indication: the one that stood when they were made.
    """

    t_us: int
    client: str
    asked: bytes
    answered: bytes
    indication: Indication


@dataclass(frozen=True, slots=True)
class Connection:
    """One place where clients may come.  kind: "serial" or "tcp".  paste: (for what, a line to paste)."""

    kind: str
    address: str
    paste: tuple[tuple[str, str], ...]


class Guest(Protocol):
    """Whoever is at the other end of a rim, as the rim sees it."""

    @property
    def name(self) -> str: ...
    def heard(self, data: bytes) -> None: ...
    def spoiled(self) -> None: ...


class House(Protocol):
    """Where a rim's guests come in and leave, and where it tells what happens to it."""

    def join(self, name: str, send: Callable[[bytes], None], how: str = "came") -> Guest: ...
    def leave(self, client: Guest, why: str, done: bool = True) -> None: ...
    def note(self, subject: str, text: str, done: bool = True) -> None: ...


class Rim(Protocol):
    """A port or a listening socket."""

    async def open(self) -> Connection:
        """Begin to serve.  Raises BadInput when the place is taken or missing."""

    def close(self) -> None:
        """Stop; clients that are here leave."""


class Live:
    """A bench, the protocol it speaks, and who is listening.

    tell: takes each line about clients.  witness: is shown every exchange, None for nobody.
    kept_us: how much bench time of what happened is kept, None for all of it.
    """

    def __init__(
        self,
        bench: LiveBench,
        card: InstrumentCard,
        protocol: str,
        tell: Callable[[Line], None],
        witness: Callable[[Exchange], None] | None = None,
        kept_us: int | None = KEPT_US,
    ) -> None:
        self.bench = bench
        self.protocol = protocol
        self.tell = tell
        self.witness = witness
        self._card = card
        self._kept_us = kept_us
        self._forget_at_us = 0
        self._clients: list[Client] = []
        open_conversation(protocol, card)  # a bad card is told before anybody can connect
        bench.watch(self._indicated)

    @property
    def clients(self) -> tuple[str, ...]:
        """Names of who is here, in the order in which they came."""
        return tuple(client.name for client in self._clients)

    def join(self, name: str, send: Callable[[bytes], None], how: str = "came") -> Client:
        """A client comes, or a line is there.  send: takes what it is to get and never blocks."""
        client = Client(self, name, send, self._card)
        self._clients.append(client)
        self.note(name, how)
        return client

    def leave(self, client: Guest, why: str, done: bool = True) -> None:
        """A client is gone, or (done False) was dropped.  Told once however often it is called."""
        if client in self._clients:
            self._clients = [one for one in self._clients if one is not client]
            self.note(client.name, why, done)

    def note(self, subject: str, text: str, done: bool = True) -> None:
        """Tell a person and the trace what happened at a rim."""
        kind = subject if subject == BENCH else "client"
        self.tell(Line(self.bench.now_us, kind, subject, f"{subject}: {text}", done))
        self.bench.trace.happened(Event(self.bench.now_us, "client", subject, text, done=done))

    def forget(self) -> None:
        """Let go what is too old to be kept, now and then; of a flood of events all but the newest."""
        if self._kept_us is None:
            return
        now_us, trace = self.bench.now_us, self.bench.trace
        if now_us >= self._forget_at_us or len(trace.events) >= 2 * MOST_EVENTS:
            self._forget_at_us = now_us + FORGET_EACH_US
            trace.forget_before(now_us - self._kept_us, MOST_EVENTS)

    def _indicated(self, indication: Indication) -> None:
        for client in tuple(self._clients):
            client.indicated(indication)


class Client:
    """One client: a conversation and a way to send."""

    __slots__ = ("_conversation", "_live", "_send", "name")

    def __init__(self, live: Live, name: str, send: Callable[[bytes], None], card: InstrumentCard) -> None:
        self.name = name
        self._live = live
        self._send = send
        self._conversation = open_conversation(live.protocol, card)

    def heard(self, data: bytes) -> None:
        """Octets came from it: do what they ask, and answer."""
        bench = self._live.bench
        now_us = bench.now_us
        answers = []
        for request in self._conversation.receive(data, bench.indication, now_us):
            outcome = None if request.command is None else self._do(request.command)
            answers.append(self._conversation.answer(request, outcome, bench.indication, now_us))
        if answer := b"".join(answers):
            self._say(data, answer, bench.indication, now_us)

    def spoiled(self) -> None:
        """Octets came damaged."""
        bench = self._live.bench
        if answer := self._conversation.spoiled():
            self._say(b"", answer, bench.indication, bench.now_us)

    def indicated(self, indication: Indication) -> None:
        """A new indication stands."""
        if answer := self._conversation.update(indication, indication.t_us):
            self._say(b"", answer, indication, indication.t_us)

    def _do(self, command: InstrumentCommand) -> Outcome:
        try:
            return self._live.bench.do(command)
        except BadInput as error:  # a client's nonsense is refused like any other command
            return Outcome(done=False, reason=str(error))

    def _say(self, asked: bytes, answer: bytes, indication: Indication, now_us: int) -> None:
        self._send(answer)
        if self._live.witness is not None:
            self._live.witness(Exchange(now_us, self.name, asked, answer, indication))


@contextlib.asynccontextmanager
async def opened(rims: Sequence[Rim]) -> AsyncIterator[tuple[Connection, ...]]:
    """All rims open, or none: what is open is closed again when one cannot be, and at the end."""
    with contextlib.ExitStack() as stack:
        connections = []
        for rim in rims:
            connections.append(await rim.open())
            stack.callback(rim.close)
        yield tuple(connections)


async def serve(
    live: Live,
    rims: Sequence[Rim],
    stop: asyncio.Event,
    speed: float = 1.0,
    duration_s: float | None = None,
    ready: Callable[[tuple[Connection, ...]], None] = lambda _connections: None,
    walked: Callable[[], None] = lambda: None,
    paced: Callable[[Pacer], None] | None = None,
) -> None:
    """Open every rim, call ready, walk the bench at speed x wall time until stop is set or time is up.

    walked: called after every step of the bench.  paced: is given the pacer before it begins.
    Raises BadInput from a rim that cannot open, and whatever the bench raises.
    """
    async with opened(rims) as connections:
        ready(connections)

        def walk(until_us: int) -> None:
            live.bench.run(until_us)
            walked()
            live.forget()

        pacer = Pacer(walk, live.bench.now_us, speed, lambda text: live.note(BENCH, text))
        if paced is not None:
            paced(pacer)
        waiting = asyncio.ensure_future(stop.wait())
        try:
            await asyncio.wait(
                (waiting, pacer.start()), timeout=duration_s, return_when=asyncio.FIRST_COMPLETED
            )
        finally:
            waiting.cancel()
            pacer.stop()
