"""Errors before rounding by small weights: R 76-1 A.4.4.3, I = d x floor(P/d + 1/2) (memory)."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.verify.series import loads_of
from benchsim.verify.weighing import Pile, weigh
from tests.verify.model import Model, subject


def test_the_worked_example_of_the_clause() -> None:
    # e = 5 g, L = 1 000 g, I = 1 000 g, changes to 1 005 g at dL = 1.5 g: P = 1 001 g; with E0 = +0.5 g,
    # Ec = +0.5 g (weighing figures of A.4.4.3, computed).
    it = subject("r76-iii", "15", "0.005")
    scale = Model("0.005", lambda load: load + Fraction(1, 1000))
    Pile(it, scale).up_to(Decimal(1))
    found = weigh(it, scale)
    assert (found.shown_kg, found.before_kg) == (Decimal("1.000"), Decimal("1.001"))
    assert found.before_kg is not None
    assert found.before_kg - 1 - Decimal("0.0005") == Decimal("0.0005")


@given(
    st.fractions(min_value=-20, max_value=3000, max_denominator=10**6),
    st.sampled_from(["1", "0.5", "20", "0.0005"]),
)
def test_what_was_before_rounding_is_found_to_within_a_tenth(weight_d: Fraction, d_kg: str) -> None:
    it = subject("r76-iii", "15000", d_kg)
    d = Fraction(d_kg)
    scale = Model(d_kg, lambda load: load + weight_d * d)
    found = weigh(it, scale)
    assert found.before_kg is not None
    assert found.shown_kg is not None
    off_d = Fraction(found.before_kg) / d - weight_d
    assert -Fraction(1, 10) < off_d <= 0
    assert abs(Fraction(found.shown_kg) / d - weight_d) <= Fraction(1, 2)


def test_the_small_weights_are_taken_off_again() -> None:
    it, scale = subject("r76-iii", "3000", "1"), Model("1")
    Pile(it, scale).up_to(Decimal(100))
    assert weigh(it, scale) == weigh(it, scale)


def test_a_fine_indication_needs_no_small_weights() -> None:
    # 3.5.3: the rounding error counts where d > 0.2 e (memory).
    it, scale = subject("r76-iii", "3000", "0.2", "1"), Model("0.2", lambda load: load + Fraction(1, 10))
    found = weigh(it, scale)
    assert found.before_kg == found.shown_kg
    coarser = subject("r76-iii", "3000", "0.5", "1")
    found = weigh(coarser, Model("0.5", lambda load: load + Fraction(1, 10)))
    assert (found.shown_kg, found.before_kg) == (Decimal(0), Decimal("0.1"))


def test_a_display_that_stands_still_whatever_is_on_gives_no_weight() -> None:
    assert weigh(subject("r76-iii", "3000", "1"), Model("1", lambda _: Fraction(7))).before_kg is None


@pytest.mark.parametrize(
    ("rules", "max_kg", "e_kg", "steps"),
    [
        ("r76-iii", "3000", "1", [500, 2000]),
        ("r76-iii", "60", "0.02", [10, 40]),
        ("hb44-iiil-vehicle", "60000", "20", [10_000, 20_000, 30_000, 40_000, 50_000]),
    ],
)
def test_the_loads_are_ten_or_more_with_min_max_and_where_the_tolerance_steps(
    rules: str, max_kg: str, e_kg: str, steps: list[int]
) -> None:
    # A.4.4.1 (memory); Table 6 of R 76 and of HB 44.
    it = subject(rules, max_kg, e_kg)
    loads = loads_of(it)
    assert len(loads) >= 10
    assert loads == sorted(set(loads))
    assert loads[0] == it.min_kg
    assert loads[-1] == it.max_kg
    assert set(map(Decimal, steps)) <= set(loads)
