"""All parts on one virtual clock.

The bench walks from one outside event (a command, a fault's edge) to the next.  On the way samples are
made in blocks, frames are events on one exact queue, and the host looks at what had arrived by each of
its updates; so neither the block's size nor the pace of the walk can show in a result.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from benchsim.bench.active import ActiveFaults
from benchsim.bench.foreign import NO_HOST, REFUSED, ForeignHost, Outlet, address_of
from benchsim.bench.node import Node, drawn_at
from benchsim.bench.plan import Foreign, Plan
from benchsim.bench.seat import BuiltInHost, Clients, Seat
from benchsim.bench.tap import Keep
from benchsim.ground import commands as ask
from benchsim.ground.clock import SECOND_US, Queue
from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.ground.readings import Event, Indication, LinkState, Outcome
from benchsim.host.overheard import Keep as Overhears
from benchsim.host.parts import HostParts
from benchsim.outputs.output import protocol_names
from benchsim.record.trace import Trace
from benchsim.rules.profile import Profile
from benchsim.scale.scale import Scale
from benchsim.scale.self_test import self_tests

BLOCK_US = 10 * SECOND_US
REFOLD_US = SECOND_US
DONE = Outcome(done=True)
KINDS: dict[type, str] = {
    **dict.fromkeys(ask.SITE_COMMANDS, "load"),
    **dict.fromkeys((ask.StartFault, ask.EndFault), "fault"),
    **dict.fromkeys((ask.Pair, ask.Release, ask.Recommission, ask.Expect), "link"),
}


class Bench:
    """One scale, its nodes, their link, the host and its clients.

    profile: the rules the host keeps.  seed: of every random stream.  Raises BadInput for parts that
    cannot be.  Where the plan leaves an end of the link to somebody else, attach and hear are the way there.
    """

    def __init__(self, plan: Plan, profile: Profile, seed: int | str) -> None:
        streams = Streams(seed)
        self.plan = plan
        self.trace = Trace(len(plan.scale.cells), plan.host.interval, plan.host.unit, plan.card.capacity_d)
        self._queue = Queue()
        self._scale = Scale(plan.scale, streams.child("scale"))
        self._outlet = Outlet()
        self._seat = self._made_seat(profile, streams)
        self._nodes = self._made_nodes(streams)
        for node in self._nodes:
            node.told(0)
        self._faults = ActiveFaults(plan)
        self._clients = Clients(plan.card, self._instrument, lambda: self.indication, self._answered)
        self._watchers: list[Callable[[Indication], None]] = []
        self._to_come = Queue()
        for item in plan.timeline:
            self.put(item.t_us, item.command)
        if plan.paired_at_start and plan.foreign is not Foreign.HOST:
            self.put(0, ask.Pair())

    def _made_seat(self, profile: Profile, streams: Streams) -> Seat:
        plan = self.plan
        if plan.foreign is Foreign.HOST:
            return ForeignHost(plan, self._outlet, lambda: self._nodes, self._link_is)
        to_nodes = self._outlet.to_nodes if plan.foreign is Foreign.NODES else self._to_nodes
        dice = streams.dice("hub", *drawn_at(plan))
        return BuiltInHost(plan, profile, dice, self._queue, to_nodes, self._link_is)

    def _made_nodes(self, streams: Streams) -> tuple[Node, ...]:
        if self.plan.foreign is Foreign.NODES:
            return ()
        seat = self._seat
        notice = seat.notice if isinstance(seat, ForeignHost) else None
        return tuple(
            Node(i, self.plan, self._scale, streams.child("node", i + 1), self._queue, seat.hear, notice)
            for i in range(len(self.plan.nodes))
        )

    # -- what a face or a test uses ------------------------------------------------------------------

    @property
    def now_us(self) -> int:
        return self._queue.now_us

    @property
    def indication(self) -> Indication:
        return self._seat.indication

    @property
    def link_states(self) -> tuple[LinkState, ...]:
        return self._seat.states

    @property
    def faults(self) -> tuple[str, ...]:
        """Keys of the faults that act now."""
        return self._faults.keys

    @property
    def lamps(self) -> tuple[str, ...]:
        """What a technician sees on each node now: a state of lamp.py."""
        return tuple(node.lamp for node in self._nodes)

    @property
    def loads(self) -> tuple[str, ...]:
        """Names of what is on the receptor now."""
        return self._scale.loads

    def true_kg(self) -> float:
        """The true mass on the receptor now."""
        return float(self._scale.true_kg(np.array([self.now_us], dtype=np.int64))[0])

    def watch(self, callback: Callable[[Indication], None]) -> None:
        """Call back with each new indication, in order."""
        self._watchers.append(callback)

    def tap(self, keep: Keep) -> None:
        """Call keep with each frame that sets out from now on, in order of time, and what of it arrives."""
        for node in self._nodes:
            node.tap(keep)

    @property
    def host_settings(self) -> HostParts:
        """What the host is set to now."""
        return self._seat.settings

    @property
    def frames_not_taken(self) -> Mapping[int, int]:
        """How many frames the host would not take, by address; at 0 those with a wrong check sum."""
        return self._seat.not_taken

    def overhear(self, keep: Overhears) -> None:
        """Call keep with all that the built-in host hears and shows from now on."""
        self._seat.overhear(keep)

    def attach(self, send: Callable[[bytes], None]) -> None:
        """Where frames for the foreign end go from now on, each at the bench time at which it gets there."""
        self._outlet.send = send

    def hear(self, frame: bytes) -> None:
        """A frame of the foreign end is here now; whatever it is, it raises nothing.

        What it is answered at once goes out before this returns.
        """
        now_us = self.now_us
        if self.plan.foreign is Foreign.HOST:
            self._to_nodes(address_of(frame), frame, now_us)
        elif self.plan.foreign is Foreign.NODES:
            self._seat.hear(frame, now_us)
        self._queue.run(now_us)

    def put(self, t_us: int, command: ask.Command) -> None:
        """Have a command done at a time to come."""

        def act(_now_us: int) -> None:
            self._do_and_note(command)

        self._to_come.put(t_us, act)

    def do(self, command: ask.Command) -> Outcome:
        """Have a command done now.  What it came to is an event of the trace.

        Raises BadInput for a command that can have no meaning here (an unknown load, a fault twice).
        """
        return self._do_and_note(command)

    def run(self, until_us: int) -> None:
        """Walk to until_us; what is due at until_us itself is done."""
        while True:
            self.trace.ended_us = self.now_us
            next_us = self._to_come.next_us()
            if next_us is not None and next_us <= self.now_us:
                self._to_come.run(self.now_us)
                continue
            if self.now_us >= until_us:
                return
            self._walk(min(until_us, self._edge_us(next_us)))

    # -- the walk ------------------------------------------------------------------------------------

    def _edge_us(self, next_us: int | None) -> int:
        """How far samples may be made ahead: up to whatever can change the scale."""
        edge = self.now_us + BLOCK_US
        if next_us is not None:
            edge = min(edge, next_us)
        if self._faults.vary_beyond_scale:
            edge = min(edge, (self.now_us // REFOLD_US + 1) * REFOLD_US)
        return edge

    def _walk(self, until_us: int) -> None:
        until_us = self._fold_ahead(until_us)
        for node in self._nodes:
            node.feed(until_us)
        self._queue.run(until_us)
        self._look(until_us)
        if self._faults.vary and until_us % REFOLD_US == 0:
            self._vary()

    def _fold_ahead(self, until_us: int) -> int:
        """Tell the scale what slow faults make of it at each second on the way; how far that can be."""
        if self._faults.vary:
            for t_us in range((self.now_us // REFOLD_US + 1) * REFOLD_US, until_us, REFOLD_US):
                try:
                    self._scale.change(self._faults.scale(t_us), t_us)
                except BadInput:
                    return t_us  # the walk ends here, and the youngest of the faults with it
        return until_us

    def _look(self, now_us: int) -> None:
        """Let the host look at what has arrived, and write truth beside it."""
        ticks = self._seat.look(now_us)
        if not ticks:
            return
        true_kg = self._scale.true_kg(np.array([t.indication.t_us for t in ticks], dtype=np.int64))
        add = self.trace.add
        for tick, mass_kg in zip(ticks, true_kg.tolist(), strict=True):
            add(tick.indication, mass_kg, tick.cells_kg)
            self._clients.update(tick.indication)
            for watcher in self._watchers:
                watcher(tick.indication)

    def _to_nodes(self, address: int, frame: bytes, now_us: int) -> None:
        for node in self._nodes:
            if address in (0, node.strap):
                node.hear(frame, now_us)

    def _link_is(self, state: LinkState) -> None:
        self.trace.link(self.now_us, state)

    def _answered(self, protocol: str, octets: bytes, now_us: int) -> None:
        self.trace.happened(Event(now_us, "answer", protocol, repr(octets), octets=octets))

    # -- commands ------------------------------------------------------------------------------------

    def _do_and_note(self, command: ask.Command) -> Outcome:
        refused = REFUSED[self.plan.foreign].get(type(command))
        if isinstance(command, ask.Ask) and refused is None:
            return self._ask(command)
        kind = KINDS.get(type(command), "command")
        try:
            outcome = self._dispatch(command) if refused is None else Outcome(False, refused)
        except BadInput as error:
            self._note(kind, command, Outcome(False, str(error)))
            raise
        self._note(kind, command, outcome)
        return outcome

    def _note(self, kind: str, command: ask.Command, outcome: Outcome) -> None:
        text = str(command) if outcome.done else f"{command}: {outcome.reason}"
        self.trace.happened(Event(self.now_us, kind, _subject(command), text, done=outcome.done))

    def _ask(self, command: ask.Ask) -> Outcome:
        """The client is heard first and answered after that: the order in which a witness has them."""
        known = command.protocol in protocol_names()
        self._note("client", command, Outcome(known, "" if known else "no such protocol"))
        self._clients.send(command.protocol, command.octets, self.now_us)
        return DONE

    def _dispatch(self, command: ask.Command) -> Outcome:
        match command:
            case _ if isinstance(command, ask.SITE_COMMANDS):
                self._scale.do(command, self.now_us)
                return DONE
            case ask.StartFault() | ask.EndFault():
                return self._fault(command)
            case ask.Recommission():
                return self._recommission(command.address)
            case ask.Ask():
                return self._ask(command)
            case _:
                return self._seat.command(command, self.now_us)

    def _instrument(self, command: ask.InstrumentCommand) -> Outcome:
        return self._do_and_note(command)

    def _fault(self, command: ask.FaultCommand) -> Outcome:
        if isinstance(command, ask.StartFault):
            faults = self._faults.with_fault(command, self.now_us)
            if self.plan.foreign is Foreign.HOST and faults.acts_on_host(command.key):
                return Outcome(False, NO_HOST)
        else:
            faults = self._faults.without(command.key)
        faults.try_out(self.now_us)
        self._faults = faults
        self._refold()
        return DONE

    def _vary(self) -> None:
        """Fold the faults again.  Where they have come to ask for what cannot be, the youngest ends."""
        while True:
            try:
                return self._refold()
            except BadInput as error:
                key = self._faults.youngest_varying
                self._faults = self._faults.without(key)
                self.trace.happened(Event(self.now_us, "fault", key, f"end fault {key}: {error}", done=False))

    def _refold(self) -> None:
        now_us = self.now_us
        parts = self._faults.scale(now_us)
        self._scale.change(parts, now_us)
        for index, node in enumerate(self._nodes):
            tests = self_tests(parts, index) if node.station is not None else ()
            own, way = self._faults.node(index, now_us), self._faults.link(index, now_us)
            if shown := node.take(own, way, tests, now_us):
                subject = f"node {index + 1}"
                self.trace.happened(Event(now_us, "node", subject, f"{subject}: lamp {shown}"))
        self._seat.take(self._faults.host(now_us), now_us)

    def _recommission(self, address: int) -> Outcome:
        at_address = [n for n in self._nodes if n.strap == address]
        if not at_address:
            straps = ", ".join(str(strap) for strap in sorted({n.strap for n in self._nodes}))
            raise BadInput(f"no node is strapped to address {address}", f"strapped: {straps}")
        for node in at_address:
            node.recommission(self.now_us)
        self._seat.work(self.now_us)
        return DONE


def _subject(command: ask.Command) -> str:
    """What an event is about: the load's, fault's or protocol's name, or the command's own."""
    for name in ("name", "key", "protocol", "address"):
        if hasattr(command, name):
            return str(getattr(command, name))
    return str(command).split(" ")[0]
