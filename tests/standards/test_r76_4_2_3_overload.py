"""R 76-1 4.2.3: no indication above Max + 9 e (memory)."""

from __future__ import annotations

import pytest

from tests.host.feed import Rig


@pytest.mark.parametrize(
    ("weight_kg", "over"), [(3_000.0, False), (3_009.4, False), (3_009.5, True), (3_500.0, True)]
)
def test_the_figure_ends_nine_intervals_above_max(weight_kg: float, over: bool) -> None:
    shown = Rig("r76-iii", capacity="3000", interval="1").settle(weight_kg)
    assert (shown.overload, shown.shows_figure) == (over, not over)
    assert shown.gross_d == (0 if over else 3_009 if weight_kg > 3_000 else 3_000)
