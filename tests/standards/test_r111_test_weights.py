"""OIML R 111-1:2004, Table 1, and what R 76-1 3.7.1 asks of test weights.

Seen in copies: M1 to M3 up to 50 kg (a law's annex), F1 to M2 at 2 000 and 5 000 kg (a handout); the rest of
the table and 3.7.1 from memory.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest

from benchsim.ground.errors import BadInput
from benchsim.host.calibration_weights import (
    CLASSES,
    NOT_KNOWN,
    asked_of,
    good_enough,
    load_error_kg,
    usual_piece_kg,
    weight_error_kg,
)
from benchsim.rules.profile import load_profile
from tests.host.calibrated import settings

SEEN_MG = [
    ("M1", 50, 2_500), ("M1-2", 50, 5_000), ("M2", 50, 8_000), ("M2-3", 50, 16_000), ("M3", 50, 25_000),
    ("M1", 20, 1_000), ("M2", 20, 3_000), ("M3", 20, 10_000), ("M1", 10, 500), ("M2", 10, 1_600),
    ("M3", 10, 5_000), ("M1", 1, 50), ("M2", 1, 160), ("M3", 1, 500),
    ("F1", 2_000, 10_000), ("F2", 2_000, 30_000), ("M1", 2_000, 100_000), ("M2", 2_000, 300_000),
    ("F1", 5_000, 25_000), ("F2", 5_000, 80_000), ("M1", 5_000, 250_000), ("M2", 5_000, 800_000),
]  # fmt: skip
SIZES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


@pytest.mark.parametrize(("accuracy_class", "nominal_kg", "error_mg"), SEEN_MG)
def test_the_errors_seen_in_copies_of_the_table(accuracy_class: str, nominal_kg: int, error_mg: int) -> None:
    assert weight_error_kg(accuracy_class, Decimal(nominal_kg)) * 1_000_000 == error_mg


@pytest.mark.parametrize("nominal_kg", SIZES)
def test_each_class_is_wider_than_the_finer_one_by_the_table_s_steps(nominal_kg: int) -> None:
    """By 1.5 to 3.4 times the whole table over; M1 is 50 ppm; M1-2 and M2-3 begin at 50 kg."""
    classes = CLASSES if nominal_kg >= 50 else ("F1", "F2", "M1", "M2", "M3")
    errors = [float(weight_error_kg(c, Decimal(nominal_kg))) for c in classes]
    assert all(1.49 < wider / finer < 3.4 for finer, wider in pairwise(errors))
    assert errors[2] / nominal_kg == pytest.approx(5e-5)


@pytest.mark.parametrize("nominal_kg", [size for size in SIZES if size < 50])
@pytest.mark.parametrize("between", ["M1-2", "M2-3"])
def test_small_weights_have_no_class_between(nominal_kg: int, between: str) -> None:
    with pytest.raises(BadInput, match="classes of that size: F1, F2, M1, M2, M3"):
        weight_error_kg(between, Decimal(nominal_kg))


def test_unknown_classes_and_sizes_are_refused() -> None:
    with pytest.raises(BadInput, match="M4"):
        weight_error_kg("M4", Decimal(20))
    with pytest.raises(BadInput, match="a test weight of 25 kg"):
        weight_error_kg("M1", Decimal(25))


@pytest.mark.parametrize(
    ("weights_kg", "piece_kg"), [("60000", 1000), ("5000", 1000), ("3000", 20), ("6", 5), ("0.5", 1)]
)
def test_where_nobody_says_weights_come_in_usual_pieces(weights_kg: str, piece_kg: int) -> None:
    """Common practice, no source; sizes as in R 111-1 Table 1."""
    assert usual_piece_kg(Decimal(weights_kg)) == piece_kg


def test_a_third_of_the_tolerance_is_what_weights_may_be_wrong_by() -> None:
    """R 76-1 3.7.1 (memory).  Max 3 t, e 1 kg: a third of 1.5 kg; 3 t of 20 kg M1: 150 g, of M3: 1.5 kg."""
    assert load_error_kg(Decimal(3000), "M1", Decimal(20)) == Decimal("0.15")
    assert good_enough(Decimal(3000), Decimal(20), Decimal("0.5")) == ("F1", "F2", "M1", "M2")
    fine, coarse = (
        {a.what: a.met for a in asked_of(settings(weight_class=c))}["error of the test weights at 3 t"]
        for c in ("M2", "M3")
    )
    assert (fine, coarse) == (True, False)


@pytest.mark.parametrize(
    ("profile", "cells", "corner", "asked", "met"),
    [
        ("r76-iii", 4, 1000, "1/3 of Max: 1000 kg", True),
        ("r76-iii", 4, 900, "1/3 of Max: 1000 kg", False),
        ("r76-iii", 6, 600, "Max / (6 - 1): 600 kg", True),
        ("hb44-iiil-vehicle", 6, 375, "12.5 % of Max, once: 375 kg", True),
        ("hb44-iiil-vehicle", 6, 300, "12.5 % of Max, once: 375 kg", False),
        ("hb44-iii", 4, 750, "1/4 of Max: 750 kg", True),
    ],
)
def test_the_load_over_each_place_is_the_profile_s(
    profile: str, cells: int, corner: int, asked: str, met: bool
) -> None:
    """R 76-1 3.6.2 (seen), HB 44 N.1.3.3.1, N.1.3.7 (memory), by way of the profiles."""
    own = settings(cells, profile=load_profile(profile), corner_kg=Decimal(corner))
    found = next(a for a in asked_of(own) if a.what.startswith("load over each place"))
    assert (found.asked, found.met) == (asked, met)


def test_what_is_not_known_here_is_said_to_be_so() -> None:
    own = settings(profile=load_profile("hb44-iii"))
    unknown = {a.what for a in asked_of(own) if a.asked == NOT_KNOWN}
    assert {"error of the test weights"} < unknown
    assert all(a.met is None for a in asked_of(own) if a.asked == NOT_KNOWN)
