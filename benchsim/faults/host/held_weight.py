"""A host that goes on showing its last weight."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault


@fault(
    seen="the weight stands as still as a picture while loads come and go, and nothing says that it is old",
    cause="a task of the host that hangs, a cache between the scale and the software that reads it",
    confirm="put a known load on and off: nothing moves; look whether the time of the reading goes on",
    caution="until it is mended no weighing of the day can be trusted: stop the traffic first",
)
@dataclass(frozen=True, slots=True)
class HeldWeight:
    """The host holds its last valid indication and gives it out as if it were of now.

    Source: common practice, no source.
    """

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        return replace(part, settings=replace(part.settings, held=True))
