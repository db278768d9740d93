"""A floor that trembles up and down: a machine, a crusher or a road nearby."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import ACCELERATION, FREQUENCY
from benchsim.scale.parts import Site, Vibration


@fault(
    seen="the weight never stands still, the more so the more is on it; its mean is right",
    cause="a machine on the same floor, a road or a railway nearby, a fan on the same frame",
    confirm="switch neighbouring machines off one by one; lay a hand or an accelerometer on the floor",
    caution="switch machines off by their own procedure, never by pulling a plug",
)
@dataclass(frozen=True, slots=True)
class FloorVibration:
    """Vertical acceleration of the floor about one frequency; where it meets the deck's own it is amplified.

    Source: mechanics in an accelerated frame.
    """

    acceleration_m_per_s2: float = parameter(0.02, ACCELERATION, "RMS", low=0.0, high=20.0)
    frequency_hz: float = parameter(12.0, FREQUENCY, "in the middle of its band", low=0.1, high=500.0)
    bandwidth_hz: float = parameter(
        2.0, FREQUENCY, "of half power; near 0 it is one steady wave", low=0.0, high=50.0
    )

    def fold(self, part: Site, age_us: int) -> Site:
        return replace(
            part, vibration=Vibration(self.acceleration_m_per_s2, self.frequency_hz, self.bandwidth_hz)
        )
