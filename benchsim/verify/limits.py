"""Limits and sizes of the procedures, as the profile has them: code asks here and writes none down.

A procedure names the keys that it needs (procedures.py) and is not run where the class has none of them.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from benchsim.rules.profile import Profile
from benchsim.verify.subject import Subject

AS_TESTED = "as tested"


def has(profile: Profile, key: str) -> bool:
    """Whether the profile has a value for this key."""
    return _value(profile, key) is not None


def of(subject: Subject, key: str) -> Decimal:
    """A number of the profile.  KeyError: the class has none, and no procedure may have asked."""
    value = _value(subject.profile, key)
    if value is None:
        raise KeyError(f"{subject.profile.name} has no {key}")
    return Decimal(value)


def stage_of(subject: Subject, key: str) -> str:
    """The stage that a key names; the subject's own where it says "as tested" or the class has none."""
    named = _value(subject.profile, key)
    return subject.stage if named in (None, AS_TESTED) else str(named)


def weighings(subject: Subject) -> int:
    """How often the same load is weighed; 3 where the rules do not say (common practice, no source)."""
    tests = subject.profile.tests
    if tests.weighings_large is not None and subject.max_kg >= tests.weighings_large[0]:
        return tests.weighings_large[1]
    return tests.weighings or 3


def zero_return_e(subject: Subject, load_kg: Decimal) -> Decimal:
    """What half an hour of a load may leave behind."""
    tests = subject.profile.tests
    if tests.zero_return_share is not None:
        return subject.limit_e(load_kg) * tests.zero_return_share
    above = tests.zero_return_above
    if above is not None and subject.max_kg / subject.e_kg > above[0]:
        return above[1]
    return of(subject, "zero_return_d")


def _value(profile: Profile, key: str) -> Any:
    return getattr(profile.tests if hasattr(profile.tests, key) else profile, key)
