"""R 76-1 4.5: ranges of zero-setting, its interlocks, centre of zero, zero-tracking (body text: memory)."""

from __future__ import annotations

from typing import Any

import pytest

from benchsim.ground.commands import Tare, Zero
from tests.host.feed import Rig

CAPACITY_KG = 3_000.0
D_KG = 1.0


def rig(**changed: Any) -> Rig:
    return Rig("r76-iii", capacity="3000", interval="1", **changed)


@pytest.mark.parametrize(
    ("weight_kg", "taken"), [(300.0, True), (-300.0, True), (301.0, False), (-301.0, False)]
)
def test_4_5_1_initial_zero_takes_out_no_more_than_20_percent_overall(weight_kg: float, taken: bool) -> None:
    it = rig(initial_zero=True).settle(weight_kg)
    assert it.initial_zero_error is not taken
    assert it.shows_figure is taken
    assert it.gross_d == 0


@pytest.mark.parametrize(
    ("weight_kg", "done"), [(60.0, True), (-15.0, True), (-60.0, True), (60.2, False), (-60.2, False)]
)
def test_4_5_1_zero_setting_takes_out_no_more_than_4_percent_overall(weight_kg: float, done: bool) -> None:
    it = rig()
    it.settle(weight_kg)
    assert it.ask(Zero()).done is done
    assert it.shows.zero_error is not done


def test_4_5_1_zero_setting_again_and_again_adds_up_to_the_same_range() -> None:
    it = rig()
    it.settle(40.0)
    assert it.ask(Zero()).done
    it.settle(60.0)
    assert it.shows.gross_d == 20
    assert it.ask(Zero()).done
    it.settle(80.0)
    outcome = it.ask(Zero())
    assert not outcome.done
    assert "60 kg" in outcome.reason
    assert it.shows.gross_d == 20


def test_4_5_1_what_tracking_has_used_up_zero_setting_cannot_use_again() -> None:
    it = rig(zero_tracking=True)
    it.put(0.0, lambda t_us: min(t_us * 0.1e-6, 59.5))  # 0.1 d/s: a drift, not a load
    it.wait(610)
    assert it.shows.gross_d == 0
    it.settle(59.5 + 5.0)
    assert it.shows.gross_d == 5
    assert not it.ask(Zero()).done


def test_4_5_1_tracking_stops_at_the_end_of_the_range() -> None:
    it = rig(zero_tracking=True)
    it.put(0.0, lambda t_us: min(t_us * 0.1e-6, 70.0))
    it.wait(720)
    assert it.shows.gross_d == 10


def test_4_5_1_initial_zero_has_a_range_of_its_own() -> None:
    it = rig(initial_zero=True)
    it.settle(250.0)
    it.settle(250.0 + 60.0)
    assert it.ask(Zero()).done
    it.settle(250.0 + 61.0)
    assert not it.ask(Zero()).done


def test_4_5_2_after_zero_setting_the_deviation_is_within_a_quarter_e() -> None:
    it = rig()
    it.settle(17.4)
    assert it.ask(Zero()).done
    assert abs(it.shows.tenths_gross_d) <= 2
    assert it.shows.centre_of_zero


def test_4_5_4_zero_setting_needs_stable_equilibrium() -> None:
    it = rig()
    it.settle(0.0)
    it.put(20.0)
    it.wait(0.3)
    assert it.shows.motion
    outcome = it.ask(Zero())
    assert (outcome.done, outcome.reason) == (False, "in motion")


def test_4_5_4_zero_setting_cancels_the_tare() -> None:
    it = rig()
    it.settle(50.0)
    assert it.ask(Tare()).done
    assert it.ask(Zero()).done
    assert (it.shows.tare_d, it.shows.shows_net, it.shows.gross_d) == (0, False, 0)


@pytest.mark.parametrize(
    ("weight_kg", "lit"), [(0.0, True), (0.25, True), (-0.25, True), (0.3, False), (-0.3, False)]
)
def test_4_5_5_the_signal_lights_within_a_quarter_e(weight_kg: float, lit: bool) -> None:
    assert rig().settle(weight_kg).centre_of_zero is lit


def test_4_5_7_tracking_corrects_no_faster_than_half_an_interval_a_second() -> None:
    """0.3 d, between where tenths step from 4 to 3 and from 1 to 0, in 0.6 s and not in 0.59 s (0.51 d/s)."""
    it = rig(zero_tracking=True, update_hz=200, averaging_us=100_000, counts_per_kg=400.0)
    it.settle(0.0)
    it.put(0.45)
    shown = {i.tenths_gross_d: i.t_us for i in it.wait(6.0)[60:] if i.tenths_gross_d in (4, 1)}
    assert it.shows.tenths_gross_d == 0
    assert shown[1] - shown[4] >= 600_000


@pytest.mark.parametrize("kg", [0.5, 0.4999, -0.5, -0.5025])
def test_4_5_7_tracking_works_while_zero_shows_and_from_one_interval_on_no_more(kg: float) -> None:
    it = rig(zero_tracking=True, counts_per_kg=40_000.0)
    it.settle(0.0, seconds=6.0)
    shows_zero = -0.5 <= kg < 0.5
    shown = it.settle(kg, seconds=12.0)
    assert (shown.gross_d, shown.tenths_gross_d == 0) == (0 if shows_zero else round(2 * kg), shows_zero)


@pytest.mark.parametrize("fill_d_per_s", [0.2, 0.35, 0.45, 0.49])
def test_a_load_that_is_put_on_slowly_is_weighed_and_not_tracked_away(fill_d_per_s: float) -> None:
    it = rig(zero_tracking=True)
    it.settle(0.0)
    began_us = it.now_us
    it.put(0.0, lambda t_us: min(t_us - began_us, 20_000_000) * 1e-6 * fill_d_per_s)
    assert it.wait(25.0)[-1].tenths_gross_d == pytest.approx(200 * fill_d_per_s, abs=3)


def test_4_5_7_a_load_that_comes_faster_than_tracking_is_shown() -> None:
    it = rig(zero_tracking=True)
    it.settle(0.0)
    it.put(0.0, lambda t_us: max(0.0, t_us - it.now_us + 20e6) * 1e-6)  # 1 d/s
    assert it.wait(20.0)[-1].gross_d > 5


def test_4_5_7_tracking_works_only_at_zero() -> None:
    it = rig(zero_tracking=True)
    it.settle(0.0)
    shown = it.settle(0.7, seconds=20.0)
    assert (shown.gross_d, shown.tenths_gross_d) == (1, 7)


def test_4_5_7_tracking_works_only_in_equilibrium() -> None:
    it = rig(zero_tracking=True)
    it.settle(0.0)
    it.put(0.4, lambda t_us: 1.0 if (t_us // 100_000) % 2 else -1.0)
    assert all(i.motion for i in it.wait(10.0)[4:])
    assert it.host._instrument.zero.parts == 0
