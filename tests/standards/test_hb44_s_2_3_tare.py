"""HB 44 section 2.20 S.2.3: the tare division is the scale division; tare acts only downwards (memory)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground.commands import ClearTare, PresetTare, Tare
from tests.host.feed import Rig


@pytest.mark.parametrize(
    ("weight_kg", "done"), [(20.0, True), (10.0, True), (9.0, False), (0.0, False), (-40.0, False)]
)
def test_tare_acts_only_downwards_from_zero(weight_kg: float, done: bool) -> None:
    it = Rig()
    it.settle(weight_kg)
    outcome = it.ask(Tare())
    assert outcome.done is done
    if not done:
        assert outcome.reason == "at or below zero"


def test_a_weighed_tare_is_whole_intervals() -> None:
    it = Rig()
    it.settle(1_013.0)
    assert it.ask(Tare()).done
    assert (it.shows.tare_d * it.shows.interval, it.shows.net_d) == (Decimal(1_020), 0)


def test_a_preset_tare_is_rounded_to_whole_intervals_and_marked() -> None:
    it = Rig()
    it.settle(5_000.0)
    assert it.ask(PresetTare(Decimal("1013"))).done
    assert (it.shows.tare_d, it.shows.net_d, it.shows.preset_tare, it.shows.shows_net) == (
        51,
        199,
        True,
        True,
    )
    assert it.ask(ClearTare()).done
    assert (it.shows.tare_d, it.shows.net_d, it.shows.preset_tare, it.shows.shows_net) == (
        0,
        250,
        False,
        False,
    )
