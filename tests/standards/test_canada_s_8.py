"""Canada, SI/98-81 s. 8, class III HD (seen): one more for each 800 e or part of it, at most 22 e."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.rules.profile import load_profile
from benchsim.rules.tables import tolerance_d

IN_SERVICE_AND_ACCEPTANCE = {
    500: ("1", "0.5"),
    501: ("2", "1"),
    1_250: ("2", "1"),
    2_500: ("4", "2"),
    5_000: ("7", "3.5"),
    10_000: ("13", "6.5"),
    17_300: ("22", "11"),
    17_301: ("22", "11"),  # never above 22 e
    90_000: ("22", "11"),
}


@pytest.mark.parametrize("load_d", IN_SERVICE_AND_ACCEPTANCE)
def test_one_more_for_each_800_up_to_22(load_d: int) -> None:
    profile = load_profile("canada-iii-hd")
    found = (tolerance_d(load_d, profile, "in service"), tolerance_d(load_d, profile, "acceptance"))
    assert found == tuple(map(Decimal, IN_SERVICE_AND_ACCEPTANCE[load_d]))
