"""Dirt, ice or mud that gathers on and under the deck."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, grown, parameter
from benchsim.ground.units import MASS, TIME
from benchsim.scale.parts import Receptor


@fault(
    seen="the empty scale shows a little more every hour; zero-setting helps until its range is used up",
    cause="mud from tyres, snow or ice on the deck",
    confirm="look under the deck, clean it and see whether zero comes back",
    caution="lock the scale out of traffic before anyone goes beneath the deck",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class Mud:
    """Dead load that grows in a straight line, spread evenly over the deck, and then stays.

    Source: common practice, no source.
    """

    mass_kg: float = parameter(300.0, MASS, "how much in the end", low=0.0, high=50_000.0)
    over_us: int = parameter(8 * HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        return replace(part, dead_load_kg=part.dead_load_kg + self.mass_kg * grown(age_us, self.over_us))
