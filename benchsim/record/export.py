"""Frames of a recording as a pcapng capture: two interfaces a node, one at each end of its way to the host.

What sets out and what arrives are packets of their own, so that a reader sees what the channel did.  Bytes
out, block by block; no file is opened here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchsim.record.container import SIMULATED, Head
from benchsim.record.pcapng import (
    COMMENT,
    DESCRIPTION,
    LINK_TYPE,
    NAME,
    Direction,
    Packet,
    enhanced_packet,
    interface,
    section_header,
)
from benchsim.record.sightings import Sighting

TIMES = "times count from the start of the run"


def capture_of(head: Head, sightings: Iterable[Sighting]) -> Iterator[bytes]:
    """The blocks of a file with these sightings, in their order."""
    yield section_header([(COMMENT, f"{SIMULATED}; {TIMES}".encode())])
    for number, words in enumerate(head.nodes, 1):
        for name in (_at_node(number), _at_host(number)):
            said = f"SIMULATED: {words}"
            yield interface(LINK_TYPE, [(NAME, name.encode()), (DESCRIPTION, said.encode())])
    for sighting in sightings:
        yield enhanced_packet(_packet(sighting), 2 * (sighting.node - 1) + sighting.at_host)


def _at_node(number: int) -> str:
    return f"at node {number}"


def _at_host(number: int) -> str:
    return f"at the host, node {number}"


def _packet(sighting: Sighting) -> Packet:
    """One sighting.  What is out of the ordinary is told in a comment: all the rest shows by itself."""
    ordinary = len(sighting.arrives) == 1 and sighting.arrives[0][1]
    return Packet(
        sighting.octets,
        sighting.t_us,
        Direction.INBOUND if sighting.arrived else Direction.OUTBOUND,
        comment="" if ordinary else f"SIMULATED: {sighting.fate()}",
    )
