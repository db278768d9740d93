"""The host's seat, and the virtual clients of its outputs.

The built-in host sits here, or nobody of ours (foreign.py).  A virtual client sends bytes as a real one would
and its answers are kept as events, so that a check can read what host software would have read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from benchsim.bench.node import HOST_RANK, Waker
from benchsim.bench.plan import Plan
from benchsim.faults.fault import HostPart
from benchsim.ground import commands as ask
from benchsim.ground.clock import Queue
from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, Indication, InstrumentCard, LinkState, Outcome, Samples
from benchsim.host.host import Host, Tick
from benchsim.host.overheard import Keep, Overheard
from benchsim.host.parts import HostParts
from benchsim.link.hub import Hub
from benchsim.link.parts import told_anew
from benchsim.outputs.output import Conversation, open_conversation
from benchsim.rules.profile import Profile

Answered = Callable[[str, bytes, int], None]
ToNodes = Callable[[int, bytes, int], None]
Told = Callable[[LinkState], None]
HostCommand = InstrumentCommand | ask.Pair | ask.Release | ask.Expect


class Seat(Protocol):
    """Whoever answers for the host's end of the link."""

    @property
    def indication(self) -> Indication: ...
    @property
    def states(self) -> tuple[LinkState, ...]: ...
    def hear(self, frame: bytes, now_us: int) -> None:
        """A frame of a node has arrived."""

    def work(self, now_us: int) -> None:
        """Send what is due, and say when to be woken again."""

    def look(self, now_us: int) -> Sequence[Tick]:
        """The indications up to now, in order."""

    def command(self, command: HostCommand, now_us: int) -> Outcome:
        """Do it or refuse it.  Raises BadInput for an address that is not expected."""

    @property
    def settings(self) -> HostParts:
        """What the host is set to now."""

    @property
    def not_taken(self) -> Mapping[int, int]:
        """How many frames the host would not take, by address; at 0 those with a wrong check sum."""

    def overhear(self, keep: Keep) -> None:
        """Tell of all that the host is told and shows from now on."""

    def take(self, host: HostPart, now_us: int) -> None:
        """Become what the faults made of the host.  Raises BadInput for settings that cannot be."""


class BuiltInHost:
    """The hub and the reference host.

    to_nodes: takes (address or 0 for everyone, frame, now).  told: takes each change of a link.  Raises
    BadInput for a host that cannot be.
    """

    def __init__(
        self, plan: Plan, profile: Profile, dice: Dice, queue: Queue, to_nodes: ToNodes, told: Told
    ) -> None:
        self._hub = Hub(plan.link, dice)
        host = Host(plan.host, profile)
        self._host: Host | Overheard = host
        self._change = host.change
        self._card, self._pairs = plan.link, plan.paired_at_start
        self.settings = plan.host
        self._expects: ask.Expect | None = None
        self._to_nodes, self._told = to_nodes, told
        self._waker = Waker(queue, self.work, HOST_RANK)

    @property
    def indication(self) -> Indication:
        return self._host.indication

    @property
    def states(self) -> tuple[LinkState, ...]:
        return self._hub.states

    @property
    def not_taken(self) -> Mapping[int, int]:
        """By address; at 0 those with a wrong check sum, of whom nobody can tell."""
        counted = {a: seat.counters.refused + seat.counters.unwanted for a, seat in self._hub.seats.items()}
        return {0: self._hub.bad_frames, **counted}

    def hear(self, frame: bytes, now_us: int) -> None:
        """What the frame said goes on to the host."""
        for event in self._hub.receive(frame, now_us):
            if type(event) is Samples:
                self._host.take(event)
            elif type(event) is ClockReading:
                self._host.clock(event)
            elif type(event) is LinkState:
                self._link_is(event)
        self._waker.at(self._hub.wake_us)

    def work(self, now_us: int) -> None:
        """Send what is due, and be woken when there is more."""
        frames, changes, next_us = self._hub.due(now_us)
        for state in changes:
            self._link_is(state)
        for address, frame in frames:
            self._to_nodes(address, frame, now_us)
        self._waker.at(next_us)

    def look(self, now_us: int) -> Sequence[Tick]:
        """Let the host look at what has arrived."""
        return self._host.advance(now_us)

    def command(self, command: HostCommand, now_us: int) -> Outcome:
        """A command to the instrument, or to its link: at once, as what is asked next must find it told."""
        match command:
            case ask.Pair():
                self._hub.pair(command.address, now_us)
            case ask.Release():
                self._hub.release(command.address, now_us)
            case ask.Expect():
                self._expects = command
                self._hub.instruct(told_anew(self._hub.card, command), now_us)
            case _:
                return self._host.command(command, now_us)
        self.work(now_us)
        return Outcome(done=True)

    def overhear(self, keep: Keep) -> None:
        """Tell of all that the host hears, before it does, and of what it shows."""
        self._host = Overheard(self._host, keep)

    def take(self, host: HostPart, now_us: int) -> None:
        """Other settings, another card.  What the host was told meanwhile of its scale it still knows.

        An address whose card changed is paired anew where the host pairs by itself.
        """
        self._change(host.settings)
        self.settings = host.settings
        if host.card == self._card:
            return
        self._card = host.card
        self._hub.instruct(told_anew(host.card, self._expects) if self._expects else host.card, now_us)
        if self._pairs:
            self._hub.pair(0, now_us)
        self.work(now_us)

    def _link_is(self, state: LinkState) -> None:
        self._host.link(state)
        self._told(state)


class Clients:
    """One virtual client a protocol, opened when it first sends."""

    def __init__(
        self,
        card: InstrumentCard,
        command: Callable[[InstrumentCommand], Outcome],
        indication: Callable[[], Indication],
        answered: Answered,
    ) -> None:
        self._card, self._command, self._indication, self._answered = card, command, indication, answered
        self._open: dict[str, Conversation] = {}

    def send(self, protocol: str, octets: bytes, now_us: int) -> None:
        """Send bytes to the host.  Raises BadInput for an unknown protocol."""
        if protocol not in self._open:
            self._open[protocol] = open_conversation(protocol, self._card)
        client = self._open[protocol]
        for request in client.receive(octets, self._indication(), now_us):
            outcome = self._command(request.command) if request.command is not None else None
            self._tell(protocol, client.answer(request, outcome, self._indication(), now_us), now_us)

    def update(self, indication: Indication) -> None:
        """A new indication: what was promised once stable, or again and again, goes out."""
        for protocol, client in self._open.items():
            self._tell(protocol, client.update(indication, indication.t_us), indication.t_us)

    def _tell(self, protocol: str, octets: bytes, now_us: int) -> None:
        if octets:
            self._answered(protocol, octets, now_us)
