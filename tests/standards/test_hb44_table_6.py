"""HB 44 section 2.20, Table 6 by T.N.3.1 (maintenance) and T.N.3.2 (acceptance, half of it)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.rules.profile import load_profile
from benchsim.rules.tables import tolerance_d

# load in divisions: III L maintenance / acceptance, III maintenance / acceptance
COMPARISON = {
    500: ("1", "0.5", "1", "0.5"),
    501: ("2", "1", "2", "1"),
    1_250: ("3", "1.5", "2", "1"),
    2_500: ("5", "2.5", "3", "1.5"),
    5_000: ("10", "5", "5", "2.5"),
    10_000: ("20", "10", "5", "2.5"),
}
# T.N.3.1, Table 6, class III (seen): the last load of each step and the first of the next.
CLASS_III = {0: 1, 500: 1, 501: 2, 2_000: 2, 2_001: 3, 4_000: 3, 4_001: 5, 10_000: 5}
# T.N.3.1, Table 6, class III L (memory): 1 d more for each 500 d or part of it.
CLASS_III_L = {0: 1, 1: 1, 500: 1, 501: 2, 1_000: 2, 1_001: 3, 1_500: 3, 1_501: 4, 9_500: 19, 9_501: 20}


@pytest.mark.parametrize("load_d", COMPARISON)
def test_the_comparison_values_hold(load_d: int) -> None:
    heavy, other = load_profile("hb44-iiil-vehicle"), load_profile("hb44-iii")
    found = (
        tolerance_d(load_d, heavy, "maintenance"),
        tolerance_d(load_d, heavy, "acceptance"),
        tolerance_d(load_d, other, "maintenance"),
        tolerance_d(load_d, other, "acceptance"),
    )
    assert found == tuple(map(Decimal, COMPARISON[load_d]))


@pytest.mark.parametrize("load_d", CLASS_III)
def test_each_step_of_class_iii_begins_where_the_table_says(load_d: int) -> None:
    assert tolerance_d(load_d, load_profile("hb44-iii"), "maintenance") == CLASS_III[load_d]


@pytest.mark.parametrize("load_d", CLASS_III_L)
def test_each_step_of_class_iii_l_begins_where_the_table_says(load_d: int) -> None:
    assert tolerance_d(load_d, load_profile("hb44-iiil-vehicle"), "maintenance") == CLASS_III_L[load_d]


@pytest.mark.parametrize(("name", "n_min"), [("hb44-iiil-vehicle", 2_000), ("hb44-iii", 100)])
def test_the_class_has_the_intervals_of_table_3(name: str, n_min: int) -> None:
    profile = load_profile(name)
    assert (profile.n_min, profile.n_max) == (n_min, 10_000)
