"""Pressure in a flexible joint of a pipe, which presses the tank down or lifts it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import LENGTH, PRESSURE, RATIO
from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2, Receptor, Touch


@fault(
    seen="the reading shifts as pressure comes and goes, by the same mass full or empty",
    cause="a bellows or hose in a vertical pipe without a tie rod: pressure acts on its area",
    confirm="log pressure and weight together while nothing flows in or out",
    caution="shut the valves and lock them, then let the pressure off, before a joint is opened",
)
@dataclass(frozen=True, slots=True)
class PressureThrust:
    """Force = pressure times the area of the joint, at the place of the pipe.  Source: hydrostatics."""

    pressure_pa: float = parameter(2e5, PRESSURE, "above that of the air", low=1.0, high=1e8)
    bore_m: float = parameter(0.1, LENGTH, "effective diameter of the joint", low=0.001, high=2.0)
    way: str = parameter("up", None, "whether it lifts the tank or presses it down", words=("up", "down"))
    along: float = parameter(0.5, RATIO, "where, as a share of the length", low=0.0, high=1.0)
    across: float = parameter(0.5, RATIO, "where, as a share of the width", low=0.0, high=1.0)

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        newton = self.pressure_pa * math.pi * self.bore_m * self.bore_m / 4.0
        # Twelve digits: the last ones of pi times a figure are no one's concern.
        push_kg = float(f"{newton / STANDARD_GRAVITY_M_PER_S2:.12g}") * (-1.0 if self.way == "up" else 1.0)
        x_m, y_m = self.along * part.length_m, self.across * part.width_m
        return replace(part, touches=(*part.touches, Touch(x_m, y_m, push_kg=push_kg)))
