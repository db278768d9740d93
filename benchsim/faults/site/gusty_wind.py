"""Wind over the deck that comes in gusts."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import AREA, LENGTH, RATIO, SPEED
from benchsim.scale.parts import Site, Wind


@fault(
    seen="the weight wanders by several d within seconds and minutes; zero is off while it blows",
    cause="an open site, a deck with much area, sheets or a tank that stand in the wind",
    confirm="compare with a calm hour; watch the weight and a flag together",
    caution="do not stand in the lee of a tank or load that can tip",
)
@dataclass(frozen=True, slots=True)
class GustyWind:
    """Lift on the deck by wind whose speed has Kaimal's spectrum; its mean is there from the start.

    Not modelled: wind on what stands on the deck, moments across it.  Source: Kaimal et al. (1972), from
    memory; lift by density / 2 x speed squared.
    """

    speed_m_per_s: float = parameter(10.0, SPEED, "mean", low=0.0, high=60.0)
    turbulence: float = parameter(0.2, RATIO, "standard deviation over mean", low=0.0, high=1.0)
    lift_area_m2: float = parameter(
        4.0, AREA, "area times coefficient of lift; negative presses down", low=-1000.0, high=1000.0
    )
    height_m: float = parameter(2.0, LENGTH, "above ground: lower gusts are quicker", low=0.1, high=300.0)

    def fold(self, part: Site, age_us: int) -> Site:
        return replace(part, wind=Wind(self.speed_m_per_s, self.turbulence, self.height_m, self.lift_area_m2))
