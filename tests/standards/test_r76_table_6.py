"""R 76-1 Table 6 by 3.5.1 (initial verification) and 3.5.2 (in service, twice as much)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.rules.profile import load_profile
from benchsim.rules.tables import tolerance_d

PROFILE = load_profile("r76-iii")
IN_SERVICE_AND_INITIAL = {
    500: ("1", "0.5"),
    501: ("2", "1"),
    1_250: ("2", "1"),
    2_500: ("3", "1.5"),
    5_000: ("3", "1.5"),
    10_000: ("3", "1.5"),
}
INITIAL = {0: "0.5", 500: "0.5", 501: "1.0", 2_000: "1.0", 2_001: "1.5", 10_000: "1.5"}


@pytest.mark.parametrize("load_d", IN_SERVICE_AND_INITIAL)
def test_the_comparison_values_hold(load_d: int) -> None:
    found = (tolerance_d(load_d, PROFILE, "in service"), tolerance_d(load_d, PROFILE, "initial"))
    assert found == tuple(map(Decimal, IN_SERVICE_AND_INITIAL[load_d]))


@pytest.mark.parametrize("load_d", INITIAL)
def test_each_step_begins_where_the_table_says(load_d: int) -> None:
    assert tolerance_d(load_d, PROFILE, "initial") == Decimal(INITIAL[load_d])


def test_the_class_has_the_intervals_of_table_3() -> None:
    assert (PROFILE.n_min, PROFILE.n_max, PROFILE.min_load_d) == (100, 10_000, 20)
