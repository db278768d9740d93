"""A small virtual medium for the tests: nodes, a hub, channels between them, exact time.

It plays the bench's part: every node hears what goes to everyone, other frames go to the nodes strapped
to their address.  Samples are made so that each says its own number, node and channel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from benchsim.ground.clock import Queue
from benchsim.ground.randomness import Streams
from benchsim.ground.readings import ClockReading, Counts, LinkState, Samples
from benchsim.link.channel import Channel
from benchsim.link.hub import Hub
from benchsim.link.impairment import Impairment
from benchsim.link.node import NodeEnd
from benchsim.link.parts import Expected, HostCard, LinkSettings, NodeCard

KEY = bytes(range(16))
PERIOD_US = 12_500
Stack = tuple[Impairment, ...]


def node_card(strap: int = 1, **others: object) -> NodeCard:
    """A node of network 7 with the serial 0x1000 + strap."""
    values: dict[str, object] = {"serial": 0x1000 + strap, "strap": strap, "network": 7, "key": KEY}
    return NodeCard(**(values | others))  # type: ignore[arg-type]


def host_card(straps: Iterable[int] = (1,), cells: int = 4, **others: object) -> HostCard:
    """A host of network 7 that expects a node at each strap."""
    values: dict[str, object] = {
        "host_id": 0xA0,
        "network": 7,
        "key": KEY,
        "expected": tuple(Expected(s, cells) for s in straps),
    }
    return HostCard(**(values | others))  # type: ignore[arg-type]


def count_of(serial: int, sample: int, channel: int) -> int:
    """The count that a node's channel has at a sample: no two alike within 2**20 samples."""
    return (sample % (1 << 20)) * 1024 + (serial % 256) * 4 + channel - (1 << 30)


@dataclass(frozen=True)
class Clock:
    """A node's own clock: how fast it is, and when its sample grid begins.  It shows 77 us at the start."""

    ppm: int = 0
    phase_us: int = 0

    def complete_us(self, sample: int) -> int:
        """When a sample is complete, by the bench's clock."""
        return self.phase_us + (sample + 1) * PERIOD_US * 1_000_000 // (1_000_000 + self.ppm)

    def shows_us(self, t_us: int) -> int:
        """What it shows at a time of the bench, to the microsecond."""
        return t_us * (1_000_000 + self.ppm) // 1_000_000 + 77


STEADY = Clock()


def block_of(card: NodeCard, first: int, rows: int, clock: Clock = STEADY) -> Counts:
    """Samples first to first + rows, each complete PERIOD_US after the one before by the node's clock."""
    numbers = np.arange(first, first + rows, dtype=np.int64)
    t_us = np.array([clock.complete_us(n) for n in range(first, first + rows)], dtype=np.int64)
    shown_us = np.array([clock.shows_us(t) for t in t_us.tolist()], dtype=np.int64)
    base = (numbers % (1 << 20)) * 1024 + (card.serial % 256) * 4 - (1 << 30)
    counts = (base[:, None] + np.arange(card.channels)).astype(np.int32)
    return Counts(first, t_us, shown_us, counts, np.zeros((rows, card.channels), dtype=np.uint8))


@dataclass
class Place:
    """One node and its two channels."""

    end: NodeEnd
    up: Channel
    down: Channel
    clock: Clock = STEADY
    powered: bool = True
    fed: int = 0

    @property
    def end_us(self) -> int:
        """When the last sample fed is complete."""
        return self.clock.complete_us(self.fed - 1)


@dataclass
class Site:
    """A hub and its nodes on one clock.  rivals: other hosts on the same medium."""

    hub: Hub
    queue: Queue = field(default_factory=Queue)
    places: list[Place] = field(default_factory=list)
    samples: list[Samples] = field(default_factory=list)
    clocks: list[ClockReading] = field(default_factory=list)
    states: list[tuple[int, LinkState]] = field(default_factory=list)
    wire: list[tuple[int, str, bytes]] = field(default_factory=list)
    streams: Streams = field(default_factory=lambda: Streams("site"))
    rivals: list[Hub] = field(default_factory=list)
    theirs: list[tuple[Hub, Samples]] = field(default_factory=list)

    def add(self, card: NodeCard, up: Stack = (), down: Stack = (), clock: Clock = STEADY) -> Place:
        streams = self.streams.child("node", len(self.places))
        end = NodeEnd(card, streams.dice("end"), clock.shows_us)
        place = Place(end, Channel(up, streams.child("up")), Channel(down, streams.child("down")), clock)
        self.places.append(place)
        return place

    def run(self, until_us: int, block: int = 16) -> None:
        """Walk on, feeding each node a block of samples ahead of its time."""
        while True:
            feed_us = min(p.clock.complete_us(p.fed) for p in self.places) if self.places else until_us + 1
            if feed_us > until_us and self.queue.now_us >= until_us:
                return
            if feed_us <= self.queue.now_us + PERIOD_US + PERIOD_US // 1000:
                for place in self.places:
                    self._feed(place, block)
            self._work_all()
            horizon = min((p.end_us for p in self.places), default=1 << 60)
            self._walk(min(until_us, horizon))
            if self.queue.now_us >= until_us:
                return

    def _feed(self, place: Place, block: int) -> None:
        if place.powered:
            place.end.feed(block_of(place.end.card, place.fed, block, place.clock))
        place.fed += block

    def _walk(self, until_us: int) -> None:
        """The queue, and whoever wants to be asked, in order of time."""
        while True:
            wakes = [w for w in (self.queue.next_us(), self.hub.wake_us) if w is not None]
            wakes += [r.wake_us for r in self.rivals if r.wake_us is not None]
            wakes += [p.end.wake_us for p in self.places if p.powered and p.end.wake_us is not None]
            due_us = min(wakes, default=until_us + 1)
            if due_us > until_us:
                self.queue.run(until_us)
                return
            self.queue.run(max(due_us, self.queue.now_us))
            self._work_all()

    def _work_all(self) -> None:
        now_us = self.queue.now_us
        frames, changes, _ = self.hub.due(now_us)
        self.states += [(now_us, s) for s in changes]
        for rival in self.rivals:
            frames = frames + rival.due(now_us)[0]
        for address, frame in frames:
            self.wire.append((now_us, "down", frame))
            for place in self.places:
                if address in (0, place.end.card.strap):
                    self._carry(place.down, frame, partial(self._to_node, place))
        for place in self.places:
            if not place.powered:
                continue
            for frame in place.end.due(now_us)[0]:
                self.wire.append((now_us, "up", frame))
                self._carry(place.up, frame, self._to_hub)

    def _carry(self, channel: Channel, frame: bytes, arrive: Callable[[bytes, int], None]) -> None:
        for t_us, heard in channel.carry(frame, self.queue.now_us):
            self.queue.put(t_us, partial(arrive, heard))

    def _to_node(self, place: Place, frame: bytes, now_us: int) -> None:
        if place.powered:
            place.end.receive(frame, now_us)

    def _to_hub(self, frame: bytes, now_us: int) -> None:
        for rival in self.rivals:
            heard = rival.receive(frame, now_us)
            self.theirs += [(rival, told) for told in heard if isinstance(told, Samples)]
        for told in self.hub.receive(frame, now_us):
            if isinstance(told, Samples):
                self.samples.append(told)
            elif isinstance(told, ClockReading):
                self.clocks.append(told)
            else:
                self.states.append((now_us, told))

    def step(self, address: int = 1) -> str:
        return next(s.step for s in self.hub.states if s.address == address)

    def reason(self, address: int = 1) -> str:
        return next(s.reason for s in self.hub.states if s.address == address)

    def detail(self, address: int = 1) -> str:
        return next(s.detail for s in self.hub.states if s.address == address)

    def numbers(self, address: int = 1) -> list[int]:
        """Every sample number accepted from an address, in order of arrival."""
        return [n for s in self.samples if s.address == address for n in range(s.first, s.first + s.rows)]


def site(straps: Iterable[int] = (1,), settings: LinkSettings | None = None, **host: object) -> Site:
    """A hub alone, for these addresses."""
    straps = tuple(straps)
    if settings is not None:
        host["settings"] = settings
    return Site(Hub(host_card(straps, **host), Streams("host").dice("hub")))  # type: ignore[arg-type]


def flowing(
    straps: Iterable[int] = (1,), up: Stack = (), down: Stack = (), until_us: int = 2_000_000
) -> Site:
    """A site whose nodes were paired and have run until then."""
    straps = tuple(straps)
    place = site(straps)
    for strap in straps:
        place.add(node_card(strap), up, down)
    place.hub.pair(0, 0)
    place.run(until_us)
    return place
