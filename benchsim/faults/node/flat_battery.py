"""A battery at its end."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, NodePart, fault, grown, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.scale.supply import BATTERY


@fault(
    seen="the lamp flickers; then the node starts and stops again and again, and stays dark in the end",
    cause="a battery that was not changed in time, a panel in the shade, a charger that has failed",
    confirm="measure the voltage at the node while it runs, not while it is off: a flat one recovers",
    caution="a battery cannot be locked out: cover its poles, and keep metal tools and flames away",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class FlatBattery:
    """The node is fed from a battery with little left, which empties in a straight line.

    Source: common practice, no source.
    """

    charge: float = parameter(0.02, RATIO, "what is left of it at first", low=0.0, high=1.0)
    over_us: int = parameter(HOUR_US, TIME, "how long it lasts; 0: empty at once", low=0, high=9000 * HOUR_US)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        left = self.charge * (1.0 - grown(age_us, self.over_us))
        return replace(part, supply=replace(part.supply, source=BATTERY, charge=left, lasts_h=0.0))
