"""HB 44 section 2.20 S.1.1.1: zero within half a d, centre of zero within a quarter (memory)."""

from __future__ import annotations

import pytest

from tests.host.feed import Rig


@pytest.mark.parametrize(
    ("weight_kg", "gross_d", "lit"),
    [(5.0, 0, True), (-5.0, 0, True), (5.5, 0, False), (9.9, 0, False), (10.0, 1, False)],
)
def test_digital_zero_is_balance_within_half_an_interval(weight_kg: float, gross_d: int, lit: bool) -> None:
    shown = Rig().settle(weight_kg)
    assert (shown.gross_d, shown.centre_of_zero) == (gross_d, lit)
