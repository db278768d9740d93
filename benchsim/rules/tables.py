"""Tolerance steps looked up by load, and the intervals a class allows.  The figures are the profile's."""

from __future__ import annotations

from decimal import Decimal
from math import ceil

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.rounding import is_scale_interval, scale_intervals_near
from benchsim.ground.units import mass_text
from benchsim.rules.profile import Profile


def tolerance_d(load_d: int, profile: Profile, stage: str) -> Decimal:
    """Largest error allowed at this load, either sign, in counts of d (or e, see limits_count_in).

    load_d: the load in counts, 0 to profile.n_max.  stage: one of profile.stages.
    Source: HB 44 T.N.3.1, T.N.3.2 and Table 6, R 76-1 3.5.1, 3.5.2 and Table 6, by way of the profile.
    Raises BadInput: a load below 0 or above n_max, an unknown stage.
    """
    factors = dict(profile.tolerance.stages)
    if stage not in factors:
        raise unknown(f"stage of {profile.name}", stage, factors)
    if load_d < 0 or (profile.n_max is not None and load_d > profile.n_max):
        up_to = "on" if profile.n_max is None else f"to {profile.n_max}"
        raise BadInput(f"a load of {load_d} intervals", f"{profile.name} has tolerances from 0 {up_to}")
    return _step(load_d, profile) * factors[stage]


def _step(load_d: int, profile: Profile) -> Decimal:
    steps = profile.tolerance
    allowed = next((tolerance for top, tolerance in steps.bands if top is None or load_d <= top), None)
    if allowed is None:
        top, allowed = steps.bands[-1]
        if steps.beyond is not None and top is not None:
            every, more = steps.beyond
            allowed += more * -(-(load_d - top) // every)
    return allowed if steps.at_most is None else min(allowed, steps.at_most)


def band_ends(profile: Profile, most_d: int) -> list[int]:
    """The largest load of every band of tolerance, rising, up to n_max or most_d, the smaller."""
    steps, last = profile.tolerance, profile.up_to_n_max(most_d)
    ends = [top for top, _ in steps.bands if top is not None]
    if steps.beyond is not None:
        every, more = steps.beyond
        grows_to = last
        if steps.at_most is not None:  # from there on it grows no more
            grows_to = min(last, ends[-1] + every * max(0, ceil((steps.at_most - steps.bands[-1][1]) / more)))
        ends += range(ends[-1] + every, grows_to, every)
    return [*(end for end in ends if end < last), last]


def check_intervals(capacity_kg: Decimal, interval_kg: Decimal, profile: Profile) -> list[BadInput]:
    """What is wrong with a scale of this Max and d under the profile; empty when nothing is.

    Source: HB 44 S.1.2 and Table 3, R 76-1 4.2.2.1 and Table 3, by way of the profile.
    """
    if not is_scale_interval(interval_kg):
        if not interval_kg.is_finite() or interval_kg <= 0:
            return [BadInput(f"an interval of {interval_kg} kg", "write a positive interval")]
        near = ", ".join(mass_text(i) for i in scale_intervals_near(interval_kg))
        right = f"nearest: {near} (HB 44 S.1.2)"
        return [BadInput(f"{mass_text(interval_kg)} is not 1, 2 or 5 times a power of ten", right)]
    wrong = []
    if interval_kg < profile.smallest_interval_kg:
        clause = profile.entry("smallest_interval_kg").clause
        least = mass_text(profile.smallest_interval_kg)
        found = f"an interval of {mass_text(interval_kg)} is too small for class {profile.accuracy_class}"
        wrong.append(BadInput(found, f"at least {least} ({clause})"))
    count = capacity_kg / interval_kg
    if count != int(count):
        found = f"Max {mass_text(capacity_kg)} is not a whole number of intervals of {mass_text(interval_kg)}"
        wrong.append(BadInput(found, f"nearest: {mass_text(round(count) * interval_kg)}"))
    elif count < (n_min := profile.n_min_of(interval_kg)) or (profile.n_max or count) < count:
        found = f"{int(count)} intervals up to Max, for class {profile.accuracy_class}"
        allowed = f"at least {n_min}" if profile.n_max is None else f"from {n_min} to {profile.n_max}"
        wrong.append(BadInput(found, f"{allowed} ({profile.entry('n_max').clause})"))
    return wrong
