"""A node in the sun."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.ground.units import OUTPUT, PER_KELVIN, TEMPERATURE_DIFFERENCE


@fault(
    seen="zero and span of all cells of one node move with the sun on its box",
    cause="no shade, a dark box, a vent that is closed",
    confirm="note the box's temperature beside the empty weight over a sunny day; shade it and compare",
    caution="a box in the sun burns hands, and the mast that it hangs on is not a ladder",
)
@dataclass(frozen=True, slots=True)
class HotBox:
    """The node is warmer than its site, and its converter has temperature effects.

    Source: common practice, no source.
    """

    warmer_k: float = parameter(30.0, TEMPERATURE_DIFFERENCE, "than the site", low=-80.0, high=80.0)
    reference_effect_per_k: float = parameter(1e-5, PER_KELVIN, "of the reference", low=-0.001, high=0.001)
    offset_mv_per_v: float = parameter(0.002, OUTPUT, "shift of zero at that", low=-1.0, high=1.0)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        converter = part.digitiser
        effect = max(-0.01, min(0.01, converter.reference_effect_per_k + self.reference_effect_per_k))
        made = replace(
            converter,
            self_heating_k=max(-100.0, min(200.0, converter.self_heating_k + self.warmer_k)),
            reference_effect_per_k=effect,
            offset_mv_per_v=converter.offset_mv_per_v + self.offset_mv_per_v,
        )
        return replace(part, digitiser=made)
