"""The node link of a live bench, carried to whoever has its other end: who is there, and what they must know.

A frame is heard at the present: the bench is walked up to the wall clock first, so that its times are true.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol, get_args

from benchsim.bench.foreign import AT_NODES
from benchsim.bench.plan import Foreign, Plan
from benchsim.ground.commands import Ask, Expect, InstrumentCommand, Pair, Release
from benchsim.ground.readings import LinkState
from benchsim.link.parts import HostCard, NodeCard
from benchsim.link.steps import Reason, Step
from benchsim.serve.carrier import Carrier, Side
from benchsim.serve.live import Connection, LiveBench, Rim
from benchsim.serve.pacing import Pacer

Note = Callable[[str, str], None]

SIDES = {Side.NODES: Foreign.HOST, Side.HOST: Foreign.NODES}
# Of a timeline: what only the other end can do.
THEIRS: dict[Side, tuple[type, ...]] = {
    Side.NODES: (*get_args(InstrumentCommand), Pair, Release, Expect, Ask),
    Side.HOST: AT_NODES,
}
YOURS = "that end is yours"
KEY_UNTOLD = (
    "made from the words of the file's pairing key (SHA-256, its first 16 octets); --tell-key tells it"
)


def ours(plan: Plan, side: Side) -> Plan:
    """The same plan with only as much of its timeline as the end that is here can do.

    What only the other end can do would be refused each time that it comes.
    """
    theirs = THEIRS[side]
    return replace(plan, timeline=tuple(s for s in plan.timeline if not isinstance(s.command, theirs)))


class LinkedBench(LiveBench, Protocol):
    """A bench one end of whose link is somebody else's."""

    @property
    def link_states(self) -> tuple[LinkState, ...]: ...
    def attach(self, send: Callable[[bytes], None]) -> None: ...
    def hear(self, frame: bytes) -> None: ...


@dataclass(frozen=True, slots=True)
class Facts:
    """What the other end has to know of this one, as lines for a person and as a document.

    side: which end is here.  nodes: those that are here, or () for a host.  cells: how many each reads.
    tells_key: say the pairing keys, which are secrets in the field and protect nothing here.  left_out: items
    of the timeline that only the other end could do.
    """

    side: Side
    host: HostCard
    nodes: tuple[NodeCard, ...] = ()
    tells_key: bool = False
    left_out: int = 0
    cells: tuple[int, ...] = ()

    @classmethod
    def of(cls, plan: Plan, side: Side, tells_key: bool) -> Facts:
        """As a plan has them."""
        nodes = tuple(node.card for node in plan.nodes) if side is Side.NODES else ()
        left_out = len(plan.timeline) - len(ours(plan, side).timeline)
        stations = [len(station.cells) for station in plan.scale.stations[: len(nodes)]]
        cells = (*stations, *[0] * (len(nodes) - len(stations)))  # a stranger reads none
        return cls(side, plan.link, nodes, tells_key, left_out, cells)

    def lines(self) -> list[str]:
        """For a person."""
        host = self.host
        found = [f"network: {host.network}", f"pairing key: {self._key()}"]
        if self.left_out:
            other = "host" if self.side is Side.NODES else "nodes"
            found.append(
                f"the timeline's items for the {other}, {self.left_out} of them, are left out: {YOURS}"
            )
        if self.side is Side.HOST:
            expected = ", ".join(f"{e.cells} cells at address {e.address}" for e in host.expected)
            return [*found, f"host {host.host_id:016X} expects {expected}"]
        for node in self.nodes:
            own = "" if node.network == host.network else f", network {node.network}"
            if node.key != host.key:
                own += f", pairing key {node.key.hex()}" if self.tells_key else ", a pairing key of its own"
            found.append(
                f"node at address {node.strap}: serial {node.serial:016X}, {node.channels} channels, "
                f"{node.rate_hz} Hz{own}"
            )
        return found

    def document(self) -> dict[str, object]:
        """For programs.  pairing_key is there only when it is to be told."""
        host = self.host
        key = {"pairing_key": host.key.hex()} if self.tells_key else {}
        if self.side is Side.NODES:
            return {"nodes": [self._node(*pair) for pair in zip(self.nodes, self.cells, strict=True)]}
        expects = [{"address": e.address, "cells": e.cells} for e in host.expected]
        return {"host": f"{host.host_id:016X}", "network": host.network, "expects": expects} | key

    def _node(self, node: NodeCard, cells: int) -> dict[str, object]:
        key = {"pairing_key": node.key.hex()} if self.tells_key else {}
        return {
            "address": node.strap,
            "serial": f"{node.serial:016X}",
            "network": node.network,
            "cells": cells,
            "channels": node.channels,
            "rate_hz": node.rate_hz,
        } | key

    def _key(self) -> str:
        return self.host.key.hex() if self.tells_key else KEY_UNTOLD


class NodeLink:
    """One bench's link on its carriers.

    A host's frames go out on all of them; nodes, which never speak first, answer where somebody has spoken.
    """

    def __init__(self, bench: LinkedBench, facts: Facts, carriers: Sequence[Carrier]) -> None:
        self.facts = facts
        self._bench = bench
        self._carriers = tuple(carriers)
        self._used = self._carriers if facts.side is Side.HOST else ()
        self._pacer: Pacer | None = None
        bench.attach(self._send)

    def rims(self, note: Note) -> list[Rim]:
        """The carriers as rims of a session.  note: takes who, and what happened to it."""
        return [
            _CarrierRim(carrier, partial(self._heard, carrier), partial(self._tell, note))
            for carrier in self._carriers
        ]

    def paced(self, pacer: Pacer) -> None:
        """By whose wall clock frames are heard from now on."""
        self._pacer = pacer

    def _send(self, frame: bytes) -> None:
        for carrier in self._used:
            carrier.send(frame)

    def _heard(self, carrier: Carrier, frame: bytes) -> None:
        if carrier not in self._used:
            self._used = (*self._used, carrier)
        self._meanwhile(partial(self._bench.hear, frame))

    def _tell(self, note: Note, text: str) -> None:
        who, _, what = text.partition(": ")
        note(who, what)
        if self.facts.side is Side.HOST:
            self._meanwhile(self._seek_again)

    def _seek_again(self) -> None:
        """Something has changed on a medium: seek those again at whose address nobody was."""
        for state in self._bench.link_states:
            if state.step == Step.FAILED and state.reason == Reason.NOBODY:
                self._bench.do(Pair(state.address))

    def _meanwhile(self, action: Callable[[], object]) -> None:
        if self._pacer is not None:  # before, nobody's time has begun
            self._pacer.meanwhile(action)


class _CarrierRim:
    """A carrier, opened and closed with the other rims of a session."""

    def __init__(self, carrier: Carrier, heard: Callable[[bytes], None], tell: Callable[[str], None]) -> None:
        self._carrier, self._heard, self._tell = carrier, heard, tell

    async def open(self) -> Connection:
        """Raises BadInput when it cannot be opened."""
        return await self._carrier.open(self._heard, self._tell)

    def close(self) -> None:
        self._carrier.close()
