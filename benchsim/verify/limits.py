"""The limits of the test procedures that stand beside the tolerances."""

from __future__ import annotations

from decimal import Decimal

from benchsim.verify.subject import Subject

_D = Decimal
R76 = {
    "zero_accuracy_e": _D("0.25"),
    "discrimination_d": _D("1.4"),
    "creep_30_min_e": _D("0.5"),
    "creep_15_to_30_min_e": _D("0.2"),
    "printed_off_e": _D(1),
    "zero_return_e": _D("0.5"),
}
HB44 = {
    "discrimination_d": _D("1.4"),
    "creep_30_min_e": _D("0.5"),
    "creep_15_to_30_min_e": _D("0.2"),
    "zero_return_e": _D("0.5"),
}


def of(subject: Subject, key: str) -> Decimal:
    if key == "tracking_d_per_s":
        return subject.profile.zero_tracking_rate_d_per_s
    table = R76 if "R 76" in subject.profile.standard else HB44
    value = table[key]
    if subject.profile.accuracy_class == "III L" and key.startswith("creep"):
        value *= 3
    return value


def zero_return_e(subject: Subject, load_kg: Decimal) -> Decimal:
    profile = subject.profile
    if profile.accuracy_class == "III L":
        return subject.limit_e(load_kg) / 2
    if (
        "R 76" not in profile.standard
        and profile.accuracy_class == "III"
        and subject.max_kg / subject.e_kg > 4000
    ):
        return _D("0.83")
    return of(subject, "zero_return_e")
