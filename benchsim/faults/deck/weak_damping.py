"""Dampers that no longer damp: the deck swings on after each load."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO
from benchsim.scale.parts import Receptor


@fault(
    seen="the weight is right in the end, but it takes long to stand still after each load",
    cause="worn bumpers, loose bolts, rubber that has hardened or a damper that has lost its oil",
    confirm="knock the empty deck, watch the weight and count the swings until it stands",
    caution="keep clear of the deck while it is loaded and swings",
)
@dataclass(frozen=True, slots=True)
class WeakDamping:
    """Part of the deck's damping is gone.  Source: common practice, no source."""

    left: float = parameter(0.15, RATIO, "what is left of its damping", low=0.01, high=0.99)

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        return replace(part, damping_ratio=part.damping_ratio * self.left)
