"""A supply that loses too much on its way to the node."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.ground.units import VOLTAGE


@fault(
    seen="the node starts, is heard for a moment and is lost again, at a beat of a few seconds",
    cause="a cable that is too long or too thin, a corroded plug, a supply shared by too many",
    confirm="measure at the node's terminals while it runs, then at the supply, and compare",
    caution="lock the supply out and tag it before you open the plug",
)
@dataclass(frozen=True, slots=True)
class LowSupply:
    """So much voltage is lost under load that the node browns out; without load it recovers and starts.

    Source: common practice, no source.
    """

    drop_v: float = parameter(3.5, VOLTAGE, "lost on the way while the node runs", low=0.0, high=50.0)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        return replace(part, supply=replace(part.supply, drop_v=part.supply.drop_v + self.drop_v))
