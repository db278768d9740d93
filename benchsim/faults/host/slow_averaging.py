"""A mean over far too long a time."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.ground.units import TIME


@fault(
    seen="the weight creeps up for seconds after each load and drivers leave before it has arrived",
    cause="somebody made the mean longer to calm a display that something else had made restless",
    confirm="time from the load at rest to the weight at rest, and compare with the setting",
    caution="a vehicle that leaves too early was weighed too light: hold the barrier meanwhile",
)
@dataclass(frozen=True, slots=True)
class SlowAveraging:
    """The host shows the mean of a longer time.

    Source: common practice, no source.
    """

    averaging_us: int = parameter(3_000_000, TIME, "length of the mean", low=1_000, high=30_000_000)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        longer_us = max(part.settings.averaging_us, self.averaging_us)
        return replace(part, settings=replace(part.settings, averaging_us=longer_us))
