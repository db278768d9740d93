"""A channel that gives one code again and again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="one cell stands as still as a picture while the others move; the weight is off by its share",
    cause="a converter that hangs, a register that is not fetched any more",
    confirm="watch the last digits of that cell: a sound one never repeats a code for long",
    caution="exchanging a node breaks a seal: call whoever may put a new one on",
)
@dataclass(frozen=True, slots=True)
class FrozenChannel:
    """The code of one channel stands where it was when the fault began, and its status says good.

    Source: common practice, no source.
    """

    channel: int = parameter(1, None, "which channel, counted from 1", low=1, high=4)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        frozen = tuple(sorted({*part.digitiser.frozen, self.channel - 1}))
        return replace(part, digitiser=replace(part.digitiser, frozen=frozen))
