"""A node without power."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault


@fault(
    seen="the weight goes blank with the node named as silent; all its cells are missing at once",
    cause="a blown fuse, an empty battery, a plug that has come loose",
    confirm="look at the node's lamp, then measure the supply at its terminals under load",
    caution="lock the supply out and tag it before you work on it; a battery cannot be locked out",
)
@dataclass(frozen=True, slots=True)
class PowerLoss:
    """The node is off while the fault lasts, and starts anew when it ends."""

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        return replace(part, powered=False)
