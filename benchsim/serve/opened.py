"""What a session has opened, as it is told to a person, to a program and in the ready file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsim.serve.carrier import Side
from benchsim.serve.live import Connection
from benchsim.serve.node_link import Facts

SIMULATED = "SIMULATED scale: it proves software, never an instrument."
ONE_LINE = "on a serial line the next client goes on where the last one stopped: it should send ESC first"
NODES_ONLY = "nodes without a host: whoever speaks the node link (protocols/nodelink) can be their host"
NODES_ELSEWHERE = (
    "a host without nodes: whoever speaks the node link (protocols/nodelink) can be one of its nodes"
)


@dataclass(frozen=True, slots=True)
class Opened:
    """own: where clients of the host may come.  link: the media of the node link.  facts: of that link.

    facts is None where the whole link is simulated on the bench.
    """

    own: Sequence[Connection]
    link: Sequence[Connection] = ()
    facts: Facts | None = None

    def lines(self) -> list[str]:
        """What a person has to know to connect."""
        lines = [SIMULATED]
        for connection in self.own:
            lines.append(f"{connection.kind}: {connection.address}")
            lines.extend(f"  {what:<9} {line}" for what, line in connection.paste)
        if any(connection.kind == "serial" for connection in self.own):
            lines.append(ONE_LINE)
        if self.facts is not None:
            here = self.facts.side is Side.NODES
            lines.append(NODES_ONLY if here else NODES_ELSEWHERE)
            other = "hosts" if here else "nodes"
            lines.extend(self.facts.lines())
            for connection in self.link:
                lines.append(f"node link on {connection.kind}: {connection.address}")
                lines.extend(f"  {other} find it at {place}" for _, place in connection.paste)
        return lines

    def places(self) -> dict[str, Sequence[object]]:
        """For the ready file: where all listens, by kind; and the nodes that are here, if their host is not.

        Beside a host that is here, node_link says on which media its nodes are awaited.
        """
        if self.facts is None or self.facts.side is Side.HOST:
            found = by_kind(self.own, "serial", "tcp")
            return found if self.facts is None else {**found, "node_link": [_other(c) for c in self.link]}
        nodes = self.facts.document()["nodes"]
        assert isinstance(nodes, list)
        return {**by_kind(self.link, "tcp", "udp", "serial", "mqtt"), "nodes": nodes}

    def document(self) -> dict[str, object]:
        """Of the node link, for a program; nothing where all of it is on the bench."""
        if self.facts is None:
            return {}
        places = [{"kind": c.kind, "address": c.address} for c in self.link]
        return {"node_link": {"side": str(self.facts.side), "connections": places} | self.facts.document()}


def by_kind(connections: Sequence[Connection], *kinds: str) -> dict[str, Sequence[object]]:
    """Addresses under each kind, also under those of which there is none."""
    return {kind: [c.address for c in connections if c.kind == kind] for kind in kinds}


def _other(connection: Connection) -> str:
    """Where the other end goes: the place of who listens, else the one that was called."""
    return connection.paste[0][1] if connection.paste else f"{connection.kind}:{connection.address}"
