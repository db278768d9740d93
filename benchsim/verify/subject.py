"""What a procedure must know of the scale before it begins: Max, d, e, the deck, and the rules it is held to.

Loads are whole numbers of d.  `e` here is what the profile's limits count: e under R 76, d under a profile
that counts d.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from benchsim.bench.plan import Plan
from benchsim.ground.errors import BadInput, ManyBadInputs, unknown
from benchsim.rules.profile import Profile
from benchsim.rules.tables import check_intervals, tolerance_d
from benchsim.scale.parts import Receptor
from benchsim.scale.receptor import bearing

STRICTEST = ("initial", "acceptance")
Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Subject:
    """A scale under test.  stage: of the profile, whose tolerance each single error is held to."""

    profile: Profile
    stage: str
    max_kg: Decimal
    d_kg: Decimal
    e_kg: Decimal
    receptor: Receptor

    @property
    def min_kg(self) -> Decimal:
        """Min, the smallest load that should be weighed."""
        return self.profile.min_load_of(self.e_kg) * self.e_kg

    @property
    def counted(self) -> str:
        """What limits count: "e" or "d"."""
        return self.profile.limits_count_in

    @property
    def middle(self) -> Spot:
        return self.on_line(0.5, 0.5)

    def on_line(self, along: float, across: float) -> Spot:
        """A place by its shares of length and width; where all supports stand on a line, on that."""
        x_m, y_m = along * self.receptor.length_m, across * self.receptor.width_m
        line = bearing(self.receptor).line
        return (x_m, y_m) if line is None else line.nearest(x_m, y_m)

    def whole(self, load_kg: Decimal) -> Decimal:
        """The largest whole number of e that is not above a load."""
        return (load_kg // self.e_kg) * self.e_kg

    def limit_e(self, load_kg: Decimal, stage: str | None = None) -> Decimal:
        """The largest error at a load, in e.  stage: instead of the subject's own."""
        count = self.profile.up_to_n_max(math.ceil(load_kg / self.e_kg))
        return tolerance_d(count, self.profile, stage or self.stage)


def subject_of(plan: Plan, profile: Profile, stage: str | None = None) -> Subject:
    """The scale of a plan under a profile.  stage: None is that of new scales.

    Raises BadInput: no such stage; ManyBadInputs: a Max and an e that the class does not have.
    """
    if stage is None:
        stage = next((s for s in STRICTEST if s in profile.stages), profile.stages[0])
    if stage not in profile.stages:
        raise unknown(f"stage of {profile.name}", stage, profile.stages)
    host = plan.host
    counted_kg = host.interval
    if profile.limits_count_in == "e" and host.verification_interval is not None:
        counted_kg = host.verification_interval
    if wrong := check_intervals(host.capacity_kg, counted_kg, profile):
        raise ManyBadInputs(BadInput(f"{profile.name}: {w.found}", w.right) for w in wrong)
    return Subject(profile, stage, host.capacity_kg, host.interval, counted_kg, plan.scale.receptor)
