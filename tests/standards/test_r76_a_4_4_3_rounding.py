"""R 76-1 A.4.4.3: I = e x floor(P/e + 1/2), and the error before rounding by small added weights."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest

from tests.host.feed import Rig

E_KG = Decimal("0.005")


def shown_g(true_g: float) -> int:
    """What a host with e = 5 g shows for a load, in grams."""
    rig = Rig("r76-iii", capacity="15", interval=str(E_KG), counts_per_kg=400_000.0)
    return rig.settle(true_g / 1000).gross_d * 5


def test_the_worked_example_of_the_clause() -> None:
    # e = 5 g, L = 1 000 g, I = 1 000 g, changes to 1 005 g at dL = 1.5 g: P = 1 001 g, E = +1 g (computed).
    error_g = 1.0
    assert shown_g(1_000 + error_g) == 1_000
    added = next(k for k in range(1, 11) if shown_g(1_000 + error_g + 0.5 * k) == 1_005)
    assert 0.5 * added == 1.5
    before_rounding_g = 1_000 + 5 / 2 - 0.5 * added
    assert before_rounding_g - 1_000 == error_g


@pytest.mark.parametrize("load_e", [0, 20, 500, 501, 2_000, 2_999])
def test_an_ideal_host_changes_at_half_an_interval_above(load_e: int) -> None:
    # An ideal device steps at L = (k + 1/2) e (computed from the rounding model).
    load_g = load_e * 5
    assert shown_g(load_g + 2.4) == load_g
    assert shown_g(load_g + 2.5) == load_g + 5
    assert shown_g(load_g + 2.6) == load_g + 5


@pytest.mark.parametrize("true_g", [0.0, 2.4, 2.5, 2.6, 7.5, -2.4, -2.5, -2.6, -7.5, 12_345.6, 14_997.5])
def test_the_indication_is_the_floor_of_the_rounding_model(true_g: float) -> None:
    assert shown_g(true_g) == 5 * math.floor(Fraction(str(true_g)) / 5 + Fraction(1, 2))
