"""A stone or a piece of wood under the deck, on which it comes down beside the cells."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import LENGTH, RATIO, STIFFNESS
from benchsim.scale.parts import Receptor, Touch


@fault(
    seen="right up to some load, then only a part of what is added; the error depends on where it stands",
    cause="a stone, packed dirt or a tool between deck and foundation, with a little air above it",
    confirm="push a strip along the gap; find the place where a load reads least, unload, then look beneath",
    caution="lock the scale out of traffic and chock the deck before anyone reaches beneath it",
)
@dataclass(frozen=True, slots=True)
class WedgedObject:
    """A spring under the deck that begins to carry when the deck has sunk by the gap.

    Source: statics; a rigid deck on springs of one direction.
    """

    along: float = parameter(0.25, RATIO, "where, as a share of the length", low=0.0, high=1.0)
    across: float = parameter(0.5, RATIO, "where, as a share of the width", low=0.0, high=1.0)
    gap_m: float = parameter(0.0002, LENGTH, "air between it and the deck", low=-0.05, high=0.05)
    stiffness_n_per_m: float = parameter(
        5e7, STIFFNESS, "its own; a support has some 100 kN/mm", low=1.0, high=1e12
    )

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        x_m, y_m = self.along * part.length_m, self.across * part.width_m
        touch = Touch(x_m, y_m, self.stiffness_n_per_m, self.gap_m)
        return replace(part, touches=(*part.touches, touch))
