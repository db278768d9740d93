"""Whole counts of d."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.ground.rounding import (
    count_of,
    decimals_of,
    is_scale_interval,
    scale_intervals_near,
    shown,
)

INTERVALS = st.builds(
    lambda digit, power: Decimal(digit).scaleb(power), st.sampled_from([1, 2, 5]), st.integers(-4, 4)
)


@given(st.floats(-1e6, 1e6), INTERVALS)
def test_a_count_is_the_rounding_model_in_exact_arithmetic(mass: float, interval: Decimal) -> None:
    """I = e x floor(P/e + 1/2): OIML R 76-1 A.4.4.3."""
    assert count_of(mass, interval) == math.floor(Fraction(mass) / Fraction(interval) + Fraction(1, 2))


@given(st.integers(-20_000, 20_000), INTERVALS)
def test_the_step_between_two_counts_lies_at_half_an_interval(count: int, interval: Decimal) -> None:
    step = float((Fraction(count) + Fraction(1, 2)) * Fraction(interval))
    assert count_of(math.nextafter(step, -math.inf), interval) in (count, count + 1)
    assert count_of(step * (1 + 1e-12) + 1e-12, interval) >= count
    assert count_of(float(count * interval), interval) == count


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), INTERVALS)
def test_rounding_never_turns_a_heavier_load_into_a_lighter_figure(
    one: float, other: float, interval: Decimal
) -> None:
    light, heavy = sorted((one, other))
    assert count_of(light, interval) <= count_of(heavy, interval)


@pytest.mark.parametrize("mass", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_weight_is_not_rounded(mass: float) -> None:
    with pytest.raises(BadInput, match="is not a weight"):
        count_of(mass, Decimal(1))


@pytest.mark.parametrize(
    ("interval", "good"),
    [("1", True), ("20", True), ("0.05", True), ("500", True), ("15", False), ("0", False), ("-1", False),
     ("0.3", False), ("NaN", False), ("20.0", True)],
)  # fmt: skip
def test_a_scale_interval_is_1_2_or_5_times_a_power_of_ten(interval: str, good: bool) -> None:
    """HB 44 S.1.2."""
    assert is_scale_interval(Decimal(interval)) is good


def test_the_intervals_beside_15_kg_are_10_kg_and_20_kg() -> None:
    assert scale_intervals_near(Decimal(15)) == (Decimal(10), Decimal(20))
    assert scale_intervals_near(Decimal("0.02")) == (Decimal("0.02"), Decimal("0.02"))


@pytest.mark.parametrize(
    ("count", "interval", "text"),
    [
        (920, "20", "18400"),
        (0, "0.05", "0.00"),
        (-3, "0.5", "-1.5"),
        (1, "2E+1", "20"),
        (7, "0.002", "0.014"),
    ],
)
def test_a_figure_shows_all_its_decimals(count: int, interval: str, text: str) -> None:
    """HB 44 G-S.5.2.2: zero shows all decimals and one digit left of the point."""
    assert shown(count, Decimal(interval)) == text


def test_decimals_follow_the_interval() -> None:
    assert [decimals_of(Decimal(d)) for d in ("20", "1", "0.5", "0.05", "0.002")] == [0, 0, 1, 2, 3]
