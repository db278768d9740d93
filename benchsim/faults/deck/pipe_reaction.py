"""A pipe that is fast to a tank and carries part of it as the tank sinks on its cells."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO, STIFFNESS
from benchsim.scale.parts import Receptor, Touch


@fault(
    seen="the span is short by the same share at every load, more near the pipe; zero stays right",
    cause="a pipe clamped too near, without a flexible piece or too stiff for the way the tank sinks",
    confirm="compare a known load with the pipe loosened and fast",
    caution="shut the valves and lock them, then let pressure and contents off, before a pipe is loosened",
)
@dataclass(frozen=True, slots=True)
class PipeReaction:
    """A spring, both ways, beside the cells: what it takes of a load is as the stiffnesses say.

    It is fitted when it begins, to the deck as it hangs without any load.  Source: statics.
    """

    along: float = parameter(0.5, RATIO, "where, as a share of the length", low=0.0, high=1.0)
    across: float = parameter(0.5, RATIO, "where, as a share of the width", low=0.0, high=1.0)
    stiffness_n_per_m: float = parameter(
        2e6, STIFFNESS, "upwards at the tank, of pipe and clamps", low=1.0, high=1e12
    )

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        x_m, y_m = self.along * part.length_m, self.across * part.width_m
        touch = Touch(x_m, y_m, self.stiffness_n_per_m, bonded=True)
        return replace(part, touches=(*part.touches, touch))
