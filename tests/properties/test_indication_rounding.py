"""Rounding is exact, monotone, and the floor of the model on either side of zero (R 76-1 A.4.4.3)."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import floor

from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.rounding import count_of_exact
from benchsim.host.indication import rounded, rounded_tenths
from benchsim.host.reconstruction import PARTS_PER_D

weights = st.integers(-(10**13), 10**13)


@given(weights)
def test_the_count_is_the_floor_of_the_rounding_model(parts: int) -> None:
    assert rounded(parts) == floor(Fraction(parts, PARTS_PER_D) + Fraction(1, 2))
    assert rounded_tenths(parts) == floor(Fraction(10 * parts, PARTS_PER_D) + Fraction(1, 2))


@given(weights)
def test_the_count_agrees_with_the_rule_for_weights_that_are_typed_in(parts: int) -> None:
    assert rounded(parts) == count_of_exact(Decimal(parts).scaleb(-6), Decimal(1))


@given(weights, st.integers(0, 10**9))
def test_a_greater_weight_never_shows_less(parts: int, more: int) -> None:
    assert rounded(parts) <= rounded(parts + more)
    assert rounded_tenths(parts) <= rounded_tenths(parts + more)


@given(weights)
def test_loads_of_either_sign_round_alike_except_exactly_between_two_counts(parts: int) -> None:
    between = parts % PARTS_PER_D == PARTS_PER_D // 2
    assert rounded(-parts) == -rounded(parts) + (1 if between else 0)


@given(weights)
def test_no_count_is_farther_than_half_an_interval_from_its_weight(parts: int) -> None:
    assert abs(2 * (rounded(parts) * PARTS_PER_D - parts)) <= PARTS_PER_D
