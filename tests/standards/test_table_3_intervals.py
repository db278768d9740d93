"""Table 3 of HB 44 2.20 and of R 76-1, class III: 100 intervals at least, 500 from e = 5 g on (seen)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.rules.profile import load_profile
from benchsim.rules.tables import check_intervals
from tests.host.feed import Rig


@pytest.mark.parametrize("profile", ["r76-iii", "hb44-iii"])
@pytest.mark.parametrize(
    ("e_kg", "n", "allowed"),
    [
        ("5", 100, False),
        ("5", 200, False),
        ("5", 499, False),
        ("5", 500, True),
        ("5", 10_000, True),
        ("5", 10_001, False),
        ("0.005", 499, False),
        ("0.005", 500, True),
        ("0.002", 99, False),
        ("0.002", 100, True),
        ("0.0001", 100, True),
    ],
)
def test_class_iii_has_its_fewest_and_its_most_intervals(
    profile: str, e_kg: str, n: int, allowed: bool
) -> None:
    wrong = check_intervals(n * Decimal(e_kg), Decimal(e_kg), load_profile(profile))
    assert (wrong == []) is allowed
    if n < 500 and not allowed:
        assert ("from 500 to" if Decimal(e_kg) >= Decimal("0.005") else "from 100 to") in str(wrong[0])


@pytest.mark.parametrize("profile", ["r76-iii", "hb44-iii", "hb44-iiil-vehicle"])
def test_a_weight_below_min_is_shown_all_the_same(profile: str) -> None:
    # R 76-1 T.3.1.2 (memory): below Min results may be subject to an excessive relative error; HB 44 Table 8
    # recommends a least load.  Neither forbids to show what lies below.
    min_load_d = load_profile(profile).min_load_d
    assert min_load_d >= 20
    shown = Rig(profile).settle((min_load_d - 1) * 20.0)
    assert (shown.shows_figure, shown.gross_d) == (True, min_load_d - 1)
