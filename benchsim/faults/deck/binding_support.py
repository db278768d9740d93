"""Something that rubs beside one cell and holds part of the load by friction."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.deck import changed_support
from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import MASS, RATIO
from benchsim.scale.parts import Receptor


@fault(
    seen="the same load reads less on the way up than on the way down, and zero does not come back by itself",
    cause="a check rod out of line, a deck that has crept against its frame, dirt packed beside the mount",
    confirm="load in steps up and down and compare; rock the empty deck and see whether zero comes back",
    caution="a bound deck can come loose all at once: keep hands and feet out of the gap, loaded or not",
)
@dataclass(frozen=True, slots=True)
class BindingSupport:
    """Friction beside a cell: it takes its share of each change of load until it slips, either way.

    Source: the elastic and perfectly plastic friction element (Prandtl).
    """

    support: int = parameter(1, None, "which support, counted from 1 as the cells are", low=1, high=16)
    holds_kg: float = parameter(60.0, MASS, "what friction holds at most", low=0.001, high=1e6)
    share: float = parameter(
        0.5, RATIO, "share of a change that goes beside the cell until it slips", low=0.001, high=1.0
    )

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        return changed_support(
            part,
            "binding-support",
            self.support,
            lambda s: replace(s, binding_kg=min(1e9, s.binding_kg + self.holds_kg), binding_share=self.share),
        )
