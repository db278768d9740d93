"""What a bench is made of: one dataclass a part, no behaviour.  A scenario becomes one of these."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from benchsim.ground.commands import Command
from benchsim.ground.readings import InstrumentCard
from benchsim.host.parts import HostParts
from benchsim.link.impairment import Impairment
from benchsim.link.parts import HostCard, NodeCard
from benchsim.scale.parts import ScaleParts
from benchsim.scale.supply import Supply


@dataclass(frozen=True, slots=True)
class NodePlan:
    """One node: its card, and what its frames meet on the way up and down.

    The node at index i reads scale.stations[i]; one beyond the last station reads no cell (a stranger).
    """

    card: NodeCard
    up: tuple[Impairment, ...] = ()
    down: tuple[Impairment, ...] = ()
    supply: Supply = field(default_factory=Supply)


@dataclass(frozen=True, slots=True)
class Scheduled:
    """A command and its time."""

    t_us: int
    command: Command


class Foreign(StrEnum):
    """Which end of the link is somebody else's: its frames come from and go to outside the bench."""

    NOBODY = "nobody"
    HOST = "host"
    NODES = "nodes"


@dataclass(frozen=True, slots=True)
class Plan:
    """All parts of a bench and what will happen to it.

    lasts_us: when a virtual run ends.  outputs: names of host protocols served live.  foreign: whose place
    on the medium is left to somebody else; the parts planned for it then only say what that one should be.
    """

    scale: ScaleParts
    nodes: tuple[NodePlan, ...]
    link: HostCard
    host: HostParts
    card: InstrumentCard
    lasts_us: int
    timeline: tuple[Scheduled, ...] = ()
    outputs: tuple[str, ...] = ("scp0499",)
    paired_at_start: bool = field(default=True)
    foreign: Foreign = Foreign.NOBODY
    start: int = 0
