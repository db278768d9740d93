"""HB 44 section 2.20 S.1.7(a): nothing above 105 % of capacity is shown or recorded (memory)."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Record
from tests.host.feed import Rig


@pytest.mark.parametrize(
    ("weight_kg", "over"), [(63_000.0, False), (63_009.9, False), (63_010.0, True), (90_000.0, True)]
)
def test_the_figure_ends_at_105_percent(weight_kg: float, over: bool) -> None:
    it = Rig()
    shown = it.settle(weight_kg)
    assert shown.overload is over
    assert shown.shows_figure is not over
    assert it.ask(Record()).done is not over


def test_dead_load_that_the_initial_zero_took_out_is_not_counted() -> None:
    it = Rig(initial_zero=True)
    it.settle(5_000.0)
    assert not it.settle(5_000.0 + 63_000.0).overload
    assert it.settle(5_000.0 + 63_020.0).overload


def test_gross_decides_while_net_is_shown() -> None:
    from benchsim.ground.commands import Tare

    it = Rig()
    it.settle(20_000.0)
    assert it.ask(Tare()).done
    assert it.settle(63_020.0).overload
