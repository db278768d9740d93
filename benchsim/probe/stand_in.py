"""The built-in ends in the place of a device under test: nodes that read made-up cells, or a host.

Sans I/O like what they wrap; run.py plays cases against them here, device.py puts them behind a real medium.
Deliberate acts come as words: restart A, state A; recommission A at a node; pair A, release A at a host.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from benchsim.ground.clock import SECOND_US
from benchsim.ground.randomness import Dice, Noise, Streams
from benchsim.ground.readings import Counts
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from benchsim.link.parts import Expected, HostCard, NodeCard
from benchsim.probe.setting import Setting

AHEAD_US = SECOND_US
COUNTER_FROM = 100_000
SERIAL = 0x5100_0000_0000_0000
DONE = "done"

MakeNodeEnd = Callable[[NodeCard, Dice, Callable[[int], int]], NodeEnd]
MakeHub = Callable[[HostCard, Dice], Hub]


def node_card(setting: Setting, address: int) -> NodeCard:
    """The card of a stand-in at an address."""
    return NodeCard(
        serial=SERIAL + address,
        strap=address,
        network=setting.network,
        key=setting.key,
        fingerprint=bytes([address] * 8),
    )


class NodesStandIn:
    """A node at each address under test.  end: makes one's link end; wrong ones are made in the tests."""

    def __init__(self, setting: Setting, streams: Streams, end: MakeNodeEnd = NodeEnd) -> None:
        self._nodes = {
            address: _Sampled(
                end(node_card(setting, address), streams.dice("end", address), _node_time_us),
                streams.noise("cells", address),
                streams.dice("counter", address),
            )
            for address in setting.addresses
        }

    def receive(self, frame: bytes, now_us: int) -> None:
        for node in self._nodes.values():
            node.feed(now_us)
            node.end.receive(frame, now_us)

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        frames: list[bytes] = []
        wakes: list[int] = []
        for node in self._nodes.values():
            node.feed(now_us)
            sent, next_us = node.end.due(now_us)
            frames += sent
            wakes += [] if next_us is None else [next_us]
            wakes.append(node.fed_us - AHEAD_US // 2)
        return frames, min(wakes)

    def act(self, text: str, now_us: int) -> str | None:
        verb, address = _act(text)
        node = self._nodes.get(address)
        if node is None:
            return None
        if verb == "recommission":
            node.end.recommission()
        elif verb == "restart":
            node.restart(now_us)
        elif verb == "state":
            return str(node.end.step)
        else:
            return None
        return DONE


class _Sampled:
    """One node end and the samples that it is fed, made a moment ahead."""

    def __init__(self, end: NodeEnd, noise: Noise, dice: Dice) -> None:
        self.end = end
        self._noise, self._dice = noise, dice
        self._begin(0)

    def _begin(self, now_us: int) -> None:
        """The counter begins anywhere, as it may after power-up."""
        self._zero = self._first = COUNTER_FROM + self._dice.below(COUNTER_FROM)
        self._began_us = self.fed_us = now_us

    def feed(self, now_us: int) -> None:
        """Have samples up to half of AHEAD_US from now at the least."""
        if self.fed_us - now_us > AHEAD_US // 2:
            return
        rate_hz, channels = self.end.card.rate_hz, self.end.card.channels
        self.fed_us = now_us + AHEAD_US
        end = self._zero + (self.fed_us - self._began_us) * rate_hz // SECOND_US
        numbers = np.arange(self._first, end, dtype=np.int64)
        t_us = self._began_us + (numbers - self._zero + 1) * SECOND_US // rate_hz
        counts = 100_000 + np.round(40 * self._noise.normal(len(numbers) * channels))
        block = counts.astype(np.int32).reshape(-1, channels)
        node_t_us = np.array([_node_time_us(t) for t in t_us.tolist()], dtype=np.int64)
        self.end.feed(Counts(self._first, t_us, node_t_us, block, np.zeros(block.shape, dtype=np.uint8)))
        self._first = end

    def restart(self, now_us: int) -> None:
        """A power cycle: the counter begins anew."""
        self.end.restart(now_us)
        self._begin(now_us)
        self.feed(now_us)


def _node_time_us(t_us: int) -> int:
    """The clock of a stand-in: it began earlier and runs 40 ppm fast."""
    return 12_345_678 + t_us + t_us // 25_000


class HostStandIn:
    """A host that expects a node at each address under test.  hub: makes its link end."""

    def __init__(self, setting: Setting, streams: Streams, hub: MakeHub = Hub) -> None:
        expected = tuple(
            Expected(address, setting.cells, setting.sealed, setting.rate_hz) for address in setting.addresses
        )
        self._card = HostCard(setting.host_id, setting.network, setting.key, expected, setting.settings)
        self._streams, self._make, self._starts = streams, hub, 0
        self.restart()

    def restart(self) -> None:
        """Begin, or begin again after a loss of power: nothing is drawn that was drawn before."""
        self._starts += 1
        self.hub = self._make(self._card, self._streams.dice("hub", self._starts))

    def receive(self, frame: bytes, now_us: int) -> None:
        self.hub.receive(frame, now_us)

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        frames, _, next_us = self.hub.due(now_us)
        return [frame for _, frame in frames], next_us

    def act(self, text: str, now_us: int) -> str | None:
        verb, address = _act(text)
        if address not in self.hub.seats:
            return None
        if verb == "pair":
            self.hub.pair(address, now_us)
        elif verb == "release":
            self.hub.release(address, now_us)
        elif verb == "restart":
            self.restart()
        elif verb == "state":
            state = self.hub.seats[address].state
            return f"{state.step}: {state.reason}" if state.reason else state.step
        else:
            return None
        return DONE


def _act(text: str) -> tuple[str, int]:
    """An act's verb and its address; 0, which no device has, for what is no address."""
    verb, _, address = text.rpartition(" ")
    return verb, int(address) if re.fullmatch("[0-9]{1,3}", address) else 0
