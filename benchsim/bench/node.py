"""A digitiser and a link end make a node; the channels up and down are its place on the medium.

It owns no clock: the bench's queue wakes it when its link end wants to be asked.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from benchsim.bench.lamp import in_words, lamp
from benchsim.bench.plan import Plan
from benchsim.bench.tap import Keep, Tapped, Way
from benchsim.faults.fault import LinkPart, NodePart
from benchsim.ground.clock import Queue
from benchsim.ground.randomness import Streams
from benchsim.link.channel import Channel
from benchsim.link.node import NodeEnd
from benchsim.record.frames import way_to_host, way_to_node
from benchsim.scale.scale import Scale
from benchsim.scale.self_test import self_tests

ToHost = Callable[[bytes, int], None]

# At one instant: node by node what it sends, what it hears, what the host hears of it; then the host acts.
SENDS, HEARS, IS_HEARD, RANKS = range(4)
HOST_RANK = 1 << 20


class Waker:
    """One thing that is woken by the queue: at most one live alarm, the earliest asked for."""

    __slots__ = ("_action", "_queue", "_rank", "_set_us")

    def __init__(self, queue: Queue, action: Callable[[int], None], rank: int) -> None:
        self._queue, self._action, self._rank = queue, action, rank
        self._set_us: int | None = None

    def at(self, due_us: int | None) -> None:
        """Wake at this time, unless an earlier alarm stands."""
        if due_us is None or (self._set_us is not None and self._set_us <= due_us):
            return
        self._set_us = max(due_us, self._queue.now_us)
        self._queue.put(self._set_us, self._ring, self._rank)

    def _ring(self, now_us: int) -> None:
        if now_us != self._set_us:  # an earlier alarm took this one's place
            return
        self._set_us = None
        self._action(now_us)


class Node:
    """One node on the bench.

    index: its place in the plan, from 0.  It reads the scale's station of that index; a stranger, beyond the
    last, reads nothing.  notice: called with index and time whenever its end may have changed.
    """

    def __init__(
        self,
        index: int,
        plan: Plan,
        scale: Scale,
        streams: Streams,
        queue: Queue,
        to_host: ToHost,
        notice: Callable[[int, int], None] | None = None,
    ) -> None:
        own, reads = plan.nodes[index], index < len(plan.scale.stations)
        self.station = index if reads else None
        self._scale, self._queue, self._to_host, self._notice = scale, queue, to_host, notice
        self.powered, self._low = own.supply.carries(0), own.supply.is_low(0)
        self.tests = self_tests(plan.scale, index) if reads else ()
        clock = partial(scale.node_time_us, index) if reads else _bench_time
        self.end = NodeEnd(own.card, streams.dice("end", *drawn_at(plan)), clock)
        self.up: Way = Channel(own.up, streams.child("up"))
        self.down: Way = Channel(own.down, streams.child("down"))
        self._index, self._rank = index, RANKS * index
        self._waker = Waker(queue, self._work, self._rank + SENDS)

    @property
    def strap(self) -> int:
        return self.end.card.strap

    def feed(self, until_us: int) -> None:
        """Take the samples up to until_us from the scale; the link end sends them when they are due."""
        if self.station is None:
            return
        block = self._scale.read(self.station, until_us)
        if self.powered and block.t_us.size:
            self.end.feed(block)
            self._waker.at(self.end.wake_us)

    def hear(self, frame: bytes, now_us: int) -> None:
        """A frame of the host sets out for this node."""
        for arrival_us, heard in self.down.carry(frame, now_us):
            self._queue.put(arrival_us, partial(self._arrive, heard), self._rank + HEARS)

    @property
    def lamp(self) -> str:
        """What a technician sees on the node: a state of lamp.py."""
        return lamp(self.powered, self._low, self.tests, self.end.step)

    def take(self, node: NodePart, link: LinkPart, tests: tuple[str, ...], now_us: int) -> str:
        """Become what the faults made of this node and its way.

        tests: what its self-test finds now.  Gives what its lamp shows when it tells something new beside
        the link, else "".
        """
        before = (self.powered, self._low, self.tests)
        self.up.change(link.up)
        self.down.change(link.down)
        if node.card != self.end.card or (node.powered and not self.powered):
            self.end.restart(now_us, node.card)
        self.powered, self._low, self.tests = node.powered, node.supply.is_low(now_us), tests
        self._waker.at(now_us)
        self.told(now_us)
        return in_words(self.lamp, tests) if before != (self.powered, self._low, tests) else ""

    def tap(self, keep: Keep) -> None:
        """Tell of each frame that sets out from now on, either way, and what of it arrives when."""
        self.up = Tapped(self.up, way_to_host(self._index), keep)
        self.down = Tapped(self.down, way_to_node(self._index), keep)

    def recommission(self, now_us: int) -> None:
        self.end.recommission()
        self._waker.at(now_us)
        self.told(now_us)

    def told(self, now_us: int) -> None:
        """Have it noticed what has become of it."""
        if self._notice is not None:
            self._notice(self._index, now_us)

    def _arrive(self, frame: bytes, now_us: int) -> None:
        if self.powered:
            self.end.receive(frame, now_us)
            self._work(now_us)

    def _work(self, now_us: int) -> None:
        if not self.powered:
            return
        frames, next_us = self.end.due(now_us)
        for frame in frames:
            for arrival_us, heard in self.up.carry(frame, now_us):
                self._queue.put(arrival_us, partial(self._to_host, heard), self._rank + IS_HEARD)
        self._waker.at(next_us)
        self.told(now_us)


def drawn_at(plan: Plan) -> tuple[int, ...]:
    """What the name of a link end's random stream ends with: nothing, or the start of the bench."""
    return (plan.start,) if plan.start else ()


def _bench_time(t_us: int) -> int:
    """The clock of a node that keeps the bench's time."""
    return t_us
