"""A scale interval that is not the one on the plate."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter


@fault(
    seen="the weight moves in steps that are wider than the interval on the plate, and small loads vanish",
    cause="settings of another scale copied, or a wide interval set to hide a restless display",
    confirm="add small weights one by one and note at which the weight moves; compare with the plate",
    caution="the interval is under the seal: call whoever may set it and put a new seal on",
)
@dataclass(frozen=True, slots=True)
class WrongInterval:
    """The host rounds to several d instead of one.

    Source: common practice, no source.
    """

    times: int = parameter(5, None, "how many d its steps are wide", low=2, high=1000)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        step_d = min(1_000_000, part.settings.step_d * self.times)
        return replace(part, settings=replace(part.settings, step_d=step_d))
