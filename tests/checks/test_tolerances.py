"""What `within` comes to: tolerances of the standards by way of the profile, exactly, with their clause."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from benchsim.checks.judge import judge
from benchsim.checks.quantities import Tolerance
from benchsim.checks.sentence import parse
from benchsim.checks.tolerances import Scale, reach
from benchsim.record.trace import Trace
from benchsim.rules.profile import Profile
from tests.checks.asked import PROFILE, R76, verdict
from tests.record.runs import run, trace


def allowed_d(profile: Profile, stage: str, load_d: Fraction) -> Fraction:
    """The mpe at a true load, in d, as a check has it."""
    scale = Scale.of(trace())
    load = np.array([int(load_d * scale.interval)])
    found = reach(Tolerance(Decimal(1), "mpe", stage), scale, profile, Fraction(0), load)
    return found.at(0) / scale.interval


# HB 44 T.N.3.1, T.N.3.2 and Table 6, class III L (memory): one division for each 500 or part of it; half of
# that for acceptance.
HB44_III_L = [
    (0, 1), (1, 1), (500, 1), (501, 2), (1000, 2), (1001, 3), (1250, 3), (2500, 5), (5000, 10), (10000, 20),
]  # fmt: skip
# R 76-1 3.5.1 and Table 6, class III (seen), initial; in service twice that, 3.5.2.
R76_III = [(0, "0.5"), (500, "0.5"), (501, "1"), (2000, "1"), (2001, "1.5"), (10000, "1.5")]


@pytest.mark.parametrize(("load_d", "maintenance"), HB44_III_L)
def test_mpe_is_the_tolerance_of_hb44(load_d: int, maintenance: int) -> None:
    assert allowed_d(PROFILE, "maintenance", Fraction(load_d)) == maintenance
    assert allowed_d(PROFILE, "acceptance", Fraction(load_d)) == Fraction(maintenance, 2)


@pytest.mark.parametrize(("load_d", "initial"), R76_III)
def test_mpe_is_that_of_r76(load_d: int, initial: str) -> None:
    assert allowed_d(R76, "acceptance", Fraction(load_d)) == Fraction(initial)
    assert allowed_d(R76, "maintenance", Fraction(load_d)) == 2 * Fraction(initial)


def test_a_load_just_above_the_end_of_a_band_has_the_next_band_s() -> None:
    """R 76-1 table 6 has its bands as "m <= 500 e": 500.000001 e is no longer in the first."""
    just_above = 500 + Fraction(1, 1_000_000)
    assert allowed_d(R76, "acceptance", just_above) == 1
    assert allowed_d(R76, "acceptance", 500 - Fraction(1, 1_000_000)) == Fraction(1, 2)


def test_a_load_below_zero_has_the_tolerance_at_zero() -> None:
    assert allowed_d(R76, "acceptance", Fraction(-3)) == Fraction(1, 2)


def test_no_error_at_all_is_within_an_mpe_that_is_not_defined() -> None:
    """Above n_max the profile has no tolerance: a check cannot be kept there, not even without error."""
    assert allowed_d(R76, "acceptance", Fraction(10_001)) < 0
    made = run(3, lambda t: 10_001)
    given = verdict("always error is within mpe", made)
    assert not given.passed
    assert "there is none for this load" in given.expected
    assert verdict("always error is not within mpe", made).passed


def loaded(true_d: float, gross_d: int) -> Trace:
    return run(3, lambda t: gross_d, lambda t: true_d * 20.0)


@pytest.mark.parametrize(
    ("sentence", "profile", "true_d", "gross_d", "passes"),
    [
        # R 76-1 table 6, class III: 0.5 e up to 500 e, 1 e up to 2000 e.
        ("error is within mpe", R76, 499.5, 500, True),
        ("error is within mpe", R76, 499.49, 500, False),
        ("error is within mpe", R76, 500.5, 501, True),
        ("error is within mpe", R76, 500.5, 500, True),
        ("error is within mpe", R76, 501.0, 502, True),
        ("error is within mpe", R76, 501.1, 500, False),
        ("error is within in-service mpe", R76, 499.0, 500, True),
        ("error is within in-service mpe", R76, 498.9, 500, False),
        ("gross is true mass within mpe", R76, 499.5, 500, True),
        ("gross is within mpe of true mass", R76, 499.49, 500, False),
        ("gross is 10 t within mpe", R76, 500.0, 500, True),
        # HB 44 table 6, class III L, at 921 d: 2 d maintenance, 1 d acceptance.
        ("error is within maintenance mpe", PROFILE, 921.0, 923, True),
        ("error is within acceptance mpe", PROFILE, 921.0, 923, False),
        ("error is within acceptance mpe", PROFILE, 921.0, 922, True),
        ("error is within 0.7 maintenance mpe", PROFILE, 921.0, 922, True),  # HB 44 T.N.3.5
        ("error is within 0.49 maintenance mpe", PROFILE, 921.0, 922, False),
        # R 76-1 4.5.2 and 4.5.5, HB 44 S.1.1.1: 0.25 e.
        ("error is within zero window", R76, 0.25, 0, True),
        ("error is within zero window", R76, 0.2501, 0, False),
        ("error is within 2 zero window", R76, -0.5, 0, True),
    ],
)
def test_errors_at_the_limit_of_a_tolerance(
    sentence: str, profile: Profile, true_d: float, gross_d: int, passes: bool
) -> None:
    assert judge(parse(f"always {sentence}"), loaded(true_d, gross_d), profile).passed is passes


@pytest.mark.parametrize(
    ("tolerance", "words"),
    [
        ("mpe", "gross is true mass within mpe (OIML R 76-1:2006 3.5.1, Table 6, initial)"),
        ("in-service mpe", "(OIML R 76-1:2006 3.5.1, Table 6, in service)"),
        ("zero window", "(OIML R 76-1:2006"),
    ],
)
def test_a_verdict_names_the_clause_of_a_tolerance_from_the_profile(tolerance: str, words: str) -> None:
    given = judge(parse(f"always gross is true mass within {tolerance}"), run(3), R76)
    assert words in given.expected


def test_a_tolerance_that_the_check_wrote_down_has_no_clause() -> None:
    assert (
        judge(parse("always gross is zero within 1 d"), run(3), R76).expected == "always gross 0 kg ± 20 kg"
    )


@pytest.mark.parametrize("interval", ["20", "0.0005", "0.00000002", "5"])
def test_grains_divide_the_interval_and_its_tenth(interval: str) -> None:
    scale = Scale.of(trace(interval=Decimal(interval)))
    assert Fraction(scale.interval, scale.per_kg) == Fraction(interval)
    assert scale.interval % 10 == 0
    assert scale.per_kg >= 10**9
