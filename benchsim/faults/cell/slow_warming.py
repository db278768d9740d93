"""A cell that takes the temperature of its place late, and later than its neighbours."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, parameter
from benchsim.ground.units import PER_KELVIN, TIME
from benchsim.scale.parts import Cell


@fault(
    seen="zero wanders for hours after each change of temperature and lags behind the day",
    cause="a cell in thick steel, under insulation or in mud, whose compensation is poor besides",
    confirm="log zero and the temperature at the cell for a day and lay one curve over the other, shifted",
    caution="metal in the sun or in frost burns: wear gloves",
)
@dataclass(frozen=True, slots=True)
class SlowWarming:
    """The cell follows its site by one time constant, and its zero effect is larger.

    Source: first-order lag; the figures are common practice, no source.
    """

    time_constant_us: int = parameter(
        2 * HOUR_US, TIME, "after which 63 % of a change has come", low=1_000_000, high=100 * HOUR_US
    )
    zero_effect_per_k: float = parameter(
        2e-5, PER_KELVIN, "more effect on zero, of rated output per kelvin", low=-0.01, high=0.01
    )

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(
            part,
            thermal_time_constant_s=part.thermal_time_constant_s + self.time_constant_us / 1e6,
            zero_effect_per_k=part.zero_effect_per_k + self.zero_effect_per_k,
        )
