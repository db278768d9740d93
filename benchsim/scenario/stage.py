"""What a timeline plays on, and what is known of it so far as its items are gone through."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.scale.parts import Receptor
from benchsim.scenario.findings import Findings


@dataclass(slots=True)
class Stage:
    """What the timeline plays on.

    addresses: where the host expects nodes, as told last; straps: what the nodes have.  wired: (address,
    cells) of each node that reads the scale.
    """

    receptor: Receptor
    nodes: int
    addresses: tuple[int, ...]
    straps: tuple[int, ...]
    findings: Findings
    wired: tuple[tuple[int, int], ...] = ()
    bulk: set[str] = field(default_factory=set)  # names of what was filled
    on: dict[str, bool] = field(default_factory=dict)  # name -> whether it leaves by itself
    acting: dict[str, float] = field(default_factory=dict)  # fault's key -> when it ends
    ends_us: int = 0
    seed: int | str = 0
    resting: bool = False  # whether the fault that is to end comes and goes, and is gone at the time

    @property
    def whole(self) -> bool:
        """Whether every item could be read; else who is on the scale and what acts cannot be followed."""
        return self.findings.sure("timeline")
