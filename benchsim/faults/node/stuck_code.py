"""A converter whose low bits have stopped."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="the weight moves in steps of several d and stands unnaturally still between them",
    cause="a damaged converter, or a data line inside the node that is stuck",
    confirm="add small weights one by one and watch the counts: they do not move, then jump",
    caution="exchanging a node breaks a seal: call whoever may put a new one on",
)
@dataclass(frozen=True, slots=True)
class StuckCode:
    """The low bits of every code of the node stand still; what is left is a coarse staircase.

    Source: common practice, no source.
    """

    bits: int = parameter(14, None, "how many low bits stand still", low=1, high=31)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        stuck = min(max(part.digitiser.stuck_bits, self.bits), part.digitiser.bits - 1)
        return replace(part, digitiser=replace(part.digitiser, stuck_bits=stuck))
