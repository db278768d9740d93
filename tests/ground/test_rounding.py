"""Whole counts of d."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.rounding import (
    count_of_exact,
    decimals_of,
    is_scale_interval,
    scale_intervals_near,
    shown,
)

INTERVALS = st.builds(
    lambda digit, power: Decimal(digit).scaleb(power), st.sampled_from([1, 2, 5]), st.integers(-4, 4)
)


MASSES = st.decimals(-1_000_000, 1_000_000, places=9)


@given(MASSES, INTERVALS)
def test_a_count_is_the_rounding_model(mass: Decimal, interval: Decimal) -> None:
    """I = e x floor(P/e + 1/2), OIML R 76-1 A.4.4.3: so I - e/2 <= P < I + e/2."""
    shown_mass = count_of_exact(mass, interval) * interval
    assert shown_mass - interval / 2 <= mass < shown_mass + interval / 2


@given(st.integers(-20_000, 20_000), INTERVALS)
def test_the_step_between_two_counts_lies_at_half_an_interval(count: int, interval: Decimal) -> None:
    step = (count + Decimal("0.5")) * interval
    hair = Decimal("1e-12")
    assert count_of_exact(step - hair, interval) == count
    assert count_of_exact(step, interval) == count + 1
    assert count_of_exact(count * interval, interval) == count


@given(MASSES, MASSES, INTERVALS)
def test_rounding_never_turns_a_heavier_load_into_a_lighter_figure(
    one: Decimal, other: Decimal, interval: Decimal
) -> None:
    light, heavy = sorted((one, other))
    assert count_of_exact(light, interval) <= count_of_exact(heavy, interval)


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
