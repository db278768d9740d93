"""Nodes by hand: samples of known weights on known clocks, in the frames a link would hand on."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np

from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.readings import ClockReading, Indication, LinkState, Outcome, Samples
from benchsim.host.host import Host, Tick
from benchsim.host.parts import CellSeat, HostParts
from benchsim.rules.profile import Profile, load_profile

Weight = Callable[[int], float]
COUNTS_PER_KG = 100.0
ZERO_COUNTS = 5000.0


def parts(
    cells: int = 4,
    capacity: str = "60000",
    interval: str = "20",
    profile: str = "hb44-iiil-vehicle",
    counts_per_kg: float = COUNTS_PER_KG,
    **changed: object,
) -> HostParts:
    """Cells on nodes 1, 2, ... by four."""
    seats = tuple(CellSeat(1 + c // 4, c % 4, 1 / counts_per_kg, ZERO_COUNTS) for c in range(cells))
    settings: dict[str, object] = {
        "profile": profile,
        "unit": "kg",
        "capacity_kg": Decimal(capacity),
        "interval": Decimal(interval),
        "rate_hz": 80,
        "seats": seats,
        "zero_tracking": False,
        "initial_zero": False,
    }
    return HostParts(**(settings | changed))  # type: ignore[arg-type]


def host(profile: str = "hb44-iiil-vehicle", **changed: object) -> Host:
    return Host(parts(profile=profile, **changed), load_profile(profile))  # type: ignore[arg-type]


@dataclass
class Node:
    """One node whose channels each carry the same share of a weight that is a function of time.

    ppm: how fast its converter's clock runs.  creep_ppm: how much faster its own clock runs than that.
    offset_us: what it shows at bench time 0.  delay_us: frame to host.
    """

    address: int
    weight_kg: Weight
    channels: int = 4
    share: float = 1.0
    counts_per_kg: float = COUNTS_PER_KG
    rate_hz: int = 80
    rows: int = 8
    ppm: float = 0.0
    creep_ppm: float = 0.0
    offset_us: int = 0
    delay_us: int = 4_000
    next: int = 0
    status: dict[int, Sequence[int]] = field(default_factory=dict)

    def t_us(self, counter: int) -> int:
        """Bench time at which a sample is complete."""
        return round((counter + 1) * 1e6 / self.rate_hz / (1 + self.ppm * 1e-6))

    def node_t_us(self, counter: int) -> int:
        return self.offset_us + round((counter + 1) * 1e6 / self.rate_hz * (1 + self.creep_ppm * 1e-6))

    def clock(self, t_us: int, round_trip_us: int = 2_000) -> ClockReading:
        return ClockReading(
            self.address,
            t_us,
            self.offset_us + round(t_us * (1 + (self.ppm + self.creep_ppm) * 1e-6)),
            round_trip_us,
        )

    def frame(self, first: int, resent: bool = False, arrived_us: int | None = None) -> Samples:
        """The frame of rows samples from first on."""
        counters = range(first, first + self.rows)
        shares = [self.weight_kg(self.t_us(n)) * self.share / self.channels for n in counters]
        counts = np.rint(np.array(shares) * self.counts_per_kg + ZERO_COUNTS).astype("<i4")
        octets = np.repeat(counts[:, None], self.channels, axis=1).tobytes()
        status = bytes(self.status.get(first, [0] * self.channels))
        if arrived_us is None:
            arrived_us = self.t_us(first + self.rows - 1) + self.delay_us
        return Samples(
            self.address,
            first,
            self.rows,
            self.channels,
            self.node_t_us(first),
            arrived_us,
            octets,
            status,
            resent,
        )

    def until(self, t_us: int) -> list[Samples]:
        """The frames whose last sample is complete by t_us and that were not given yet."""
        frames = []
        while self.t_us(self.next + self.rows - 1) + self.delay_us <= t_us:
            frames.append(self.frame(self.next))
            self.next += self.rows
        return frames


def flow(host: Host, *nodes: Node, at_us: int = 0) -> None:
    """The nodes flow, and their clocks were read."""
    for node in nodes:
        host.link(LinkState(node.address, "flow", since_us=at_us))
        host.clock(node.clock(at_us))


def run(
    host: Host, nodes: Sequence[Node], until_us: int, drop: Callable[[Samples], bool] | None = None
) -> list[Tick]:
    """Feed and advance; frames that drop says yes to never come."""
    for node in nodes:
        for frame in node.until(until_us):
            if drop is None or not drop(frame):
                host.take(frame)
    return host.advance(until_us)


class Rig:
    """A host with its nodes on a clock of its own: put loads on, wait, ask.

    The load is shared by all nodes alike.  rules: instead of the profile of that name; rows: of a frame.
    The other settings are those of parts().
    """

    def __init__(
        self,
        profile: str = "hb44-iiil-vehicle",
        rules: Profile | None = None,
        rows: int = 8,
        **changed: object,
    ) -> None:
        self.parts = parts(profile=profile, **changed)  # type: ignore[arg-type]
        self.host = Host(self.parts, rules or load_profile(profile))
        self.now_us = 0
        self._steps = [(0, 0.0)]
        self._shapes: list[Weight] = [lambda _t: 0.0]
        addresses = sorted({seat.address for seat in self.parts.seats})
        on_node = [sum(seat.address == a for seat in self.parts.seats) for a in addresses]
        self.nodes = [
            Node(
                a,
                self._weight_kg,
                channels,
                channels / len(self.parts.seats),
                1 / self.parts.seats[0].kg_per_count,
                self.parts.rate_hz,
                rows,
            )
            for a, channels in zip(addresses, on_node, strict=True)
        ]
        flow(self.host, *self.nodes)

    def _weight_kg(self, t_us: int) -> float:
        place = bisect.bisect_right(self._steps, t_us, key=lambda step: step[0]) - 1
        return self._steps[place][1] + self._shapes[place](t_us)

    def put(self, weight_kg: float, shape: Weight = lambda _t: 0.0) -> None:
        """From now on this weight, and a shape of time on top of it."""
        self._steps.append((self.now_us + 1, weight_kg))
        self._shapes.append(shape)

    def wait(self, seconds: float, drop: Callable[[Samples], bool] | None = None) -> list[Indication]:
        """Let time pass; gives the indications of each update."""
        self.now_us += round(seconds * 1e6)
        return [t.indication for t in run(self.host, self.nodes, self.now_us, drop)]

    def settle(self, weight_kg: float, seconds: float = 3.0) -> Indication:
        """Put a weight on and wait until it stands."""
        self.put(weight_kg)
        return self.wait(seconds)[-1]

    def ask(self, command: InstrumentCommand) -> Outcome:
        return self.host.command(command, self.now_us)

    @property
    def shows(self) -> Indication:
        return self.host.indication
