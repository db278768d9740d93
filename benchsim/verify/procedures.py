"""Which procedures a standard has, in the order in which they are carried out; what is not run, and why."""

from __future__ import annotations

from dataclasses import replace

from benchsim.ground.errors import BadInput, unknown
from benchsim.rules.profile import Profile
from benchsim.verify import (
    creep,
    hb44_discrimination,
    hb44_increasing,
    hb44_motion,
    hb44_repeatability,
    hb44_shift,
    hb44_tracking,
    r76_discrimination,
    r76_eccentricity,
    r76_repeatability,
    r76_stability,
    r76_tare,
    r76_tracking,
    r76_weighing,
    r76_zero,
)
from benchsim.verify.judged import Procedure
from benchsim.verify.limits import has

DISCRIMINATION = ("discrimination_load_d", "discrimination_change_d")
CREEP = ("creep_30min_d", "creep_15_to_30min_d", "creep_in_tolerance_min")
PRINTING = ("record_within_d", "record_watched_ms", "record_neighbours")

R76 = (
    Procedure("4.5.2, A.4.2.3", "zero accuracy", r76_zero.carry_out, needs=("zero_set_within_d",)),
    Procedure("3.5.1, A.4.4", "weighing performance", r76_weighing.gross),
    Procedure("3.6.2, A.4.7", "eccentricity", r76_eccentricity.carry_out, needs=("eccentricity_load",)),
    Procedure("3.8.2.2, A.4.8", "discrimination", r76_discrimination.carry_out, needs=DISCRIMINATION),
    Procedure("3.6.1, A.4.10", "repeatability", r76_repeatability.carry_out),
    Procedure("3.9.4.1, A.4.11.1", "creep", creep.creep, needs=CREEP),
    Procedure("3.9.4.2, A.4.11.2", "zero return", creep.zero_return, needs=("zero_return_d",)),
    Procedure("4.4.2, A.4.12", "equilibrium stability", r76_stability.carry_out, needs=PRINTING),
    Procedure("3.5.3, A.4.6.1", "tare weighing", r76_weighing.net),
    Procedure("4.5.7", "zero-tracking", r76_tracking.carry_out),
    Procedure(
        "4.6.3, A.4.6.2",
        "tare accuracy",
        r76_tare.carry_out,
        aside="the built-in host, whose tares are whole d, does not meet it where e is d",
        needs=("tare_set_within_d",),
    ),
    Procedure("5.3.5, A.5.2", "warm-up", not_run="not modelled: the scale is warm from the start"),
)
HB44 = (
    Procedure("N.1.1, T.N.3", "increasing load", hb44_increasing.increasing),
    Procedure("N.1.2, T.N.3", "decreasing load", hb44_increasing.decreasing),
    Procedure("N.1.3.7, T.N.4.4", "shift", hb44_shift.shift, needs=("eccentricity_load",)),
    Procedure("N.1.3.3.1, T.N.4.4", "sections", hb44_shift.sections, needs=("shift_load",)),
    Procedure("T.N.5", "repeatability", hb44_repeatability.carry_out),
    Procedure("N.1.5.1, T.N.7.2", "discrimination", hb44_discrimination.carry_out, needs=DISCRIMINATION),
    Procedure("T.N.4.5.1", "creep", creep.creep, needs=CREEP, named_by=CREEP[0]),
    Procedure("T.N.4.5.3", "zero-load return", creep.zero_return),
    Procedure("S.2.5.1", "motion", hb44_motion.carry_out),
    Procedure("S.2.1.3", "zero-tracking", hb44_tracking.carry_out),
)
FAMILIES = {"OIML R 76": R76, "NIST Handbook 44": HB44}
ONE_OF_TWO = ("shift", "sections")
"""Two ways to test the same, by the kind of scale: the one that a profile does not have is not told of."""
RETURN = ("zero_return_d", "zero_return_share")


def procedures_of(profile: Profile) -> tuple[Procedure, ...]:
    """The procedures of a profile's standard.  Raises BadInput where they are not known."""
    found = next((p for name, p in FAMILIES.items() if profile.standard.startswith(name)), None)
    if found is None:
        right = f"profiles of {' or '.join(FAMILIES)}"
        raise BadInput(f"no test procedures are known of {profile.standard!r} ({profile.name})", right)
    fitted = (_fitted(p, profile) for p in found)
    return tuple(p for p in fitted if not (p.not_run and p.title in ONE_OF_TWO))


def _fitted(procedure: Procedure, profile: Profile) -> Procedure:
    """The procedure with the clause that its class has, and not run where the class has no limit for it."""
    missing = [key for key in procedure.needs if not has(profile, key)]
    if procedure.carry_out is creep.zero_return and not any(has(profile, key) for key in RETURN):
        missing.append(RETURN[0])
    if missing:
        return replace(procedure, not_run=f"{profile.name} has no {', '.join(missing)}")
    if procedure.named_by:
        return replace(procedure, clause=profile.entry(procedure.named_by).clause)
    return procedure


def chosen(procedures: tuple[Procedure, ...], clause: str) -> tuple[Procedure, ...]:
    """Those of one clause, or of all clauses below it, also what stands aside.  BadInput: there is none."""
    picked = tuple(
        p for p in procedures if any(c == clause or c.startswith(f"{clause}.") for c in clauses(p))
    )
    if not picked:
        raise unknown("clause", clause, [c for p in procedures for c in clauses(p)])
    return tuple(replace(p, aside="") for p in picked)


def clauses(procedure: Procedure) -> list[str]:
    return procedure.clause.split(", ")
