"""Interlocks between a command and what it would change, and the flags that tell of them."""

from __future__ import annotations

import dataclasses
import math
from decimal import Decimal

import pytest

from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Record, Tare, Zero
from benchsim.ground.readings import LinkState
from benchsim.rules.profile import load_profile
from tests.host.feed import Rig, parts, run

EVERY_WEIGHING: list[InstrumentCommand] = [Zero(), Tare(), Record()]


@pytest.mark.parametrize("command", EVERY_WEIGHING)
def test_nothing_is_weighed_while_in_motion(command: InstrumentCommand) -> None:
    rig = Rig()
    rig.settle(200.0)
    rig.put(600.0)
    rig.wait(0.2)
    outcome = rig.ask(command)
    assert (outcome.done, outcome.reason) == (False, "in motion")


@pytest.mark.parametrize("command", EVERY_WEIGHING)
def test_nothing_is_weighed_while_there_is_no_weight_and_the_reason_is_passed_on(
    command: InstrumentCommand,
) -> None:
    rig = Rig()
    rig.settle(200.0)
    rig.host.link(LinkState(1, "lost", "lost: silent for 1 s", since_us=rig.now_us))
    rig.wait(0.1)
    outcome = rig.ask(command)
    assert (outcome.done, outcome.reason) == (False, "no weight: node 1: lost: silent for 1 s")


@pytest.mark.parametrize("command", EVERY_WEIGHING)
def test_a_node_that_went_since_the_last_update_takes_the_weight_along(command: InstrumentCommand) -> None:
    rig = Rig()
    rig.settle(200.0)
    rig.host.link(LinkState(1, "lost", "lost: silent for 1 s", since_us=rig.now_us + 20_000))
    outcome = rig.host.command(command, rig.now_us + 30_000)
    assert (outcome.done, outcome.reason) == (False, "no weight: node 1: lost: silent for 1 s")
    assert not rig.shows.valid


@pytest.mark.parametrize("command", EVERY_WEIGHING)
def test_nothing_is_weighed_above_the_overload_limit(command: InstrumentCommand) -> None:
    rig = Rig()
    rig.settle(64_000.0)
    outcome = rig.ask(command)
    assert (outcome.done, outcome.reason) == (False, "above the overload limit, 63000 kg")


@pytest.mark.parametrize("command", [Tare(), Record()])
def test_nothing_is_weighed_below_the_underload_limit(command: InstrumentCommand) -> None:
    rig = Rig()
    shown = rig.settle(-420.0)
    assert (shown.underload, shown.shows_figure, shown.gross_d) == (True, False, 0)
    outcome = rig.ask(command)
    assert (outcome.done, outcome.reason) == (False, "below the underload limit, -400 kg")


def test_the_underload_limit_itself_still_shows() -> None:
    shown = Rig().settle(-400.0)
    assert (shown.underload, shown.shows_figure, shown.gross_d) == (False, True, -20)


@pytest.mark.parametrize("command", EVERY_WEIGHING)
def test_nothing_is_weighed_before_the_initial_zero_is_set(command: InstrumentCommand) -> None:
    rig = Rig(initial_zero=True)
    shown = rig.settle(12_020.0)
    assert (shown.initial_zero_error, shown.shows_figure, shown.text) == (True, False, "------ kg")
    outcome = rig.ask(command)
    assert (outcome.done, outcome.reason) == (False, "the initial zero is not set: outside its range")


def test_the_initial_zero_is_set_when_the_load_that_hindered_it_is_gone() -> None:
    rig = Rig(initial_zero=True)
    assert rig.settle(12_020.0).initial_zero_error
    shown = rig.settle(250.0)
    assert (shown.initial_zero_error, shown.shows_figure, shown.gross_d) == (False, True, 0)
    assert rig.settle(1_250.0).gross_d == 50


def test_there_is_no_weight_before_the_initial_zero_is_set() -> None:
    rig = Rig("r76-iii", capacity="60000", initial_zero=True)
    rig.put(200.0, lambda t_us: 100.0 * math.sin(t_us * 1e-5))
    before = rig.wait(3.0)
    assert {(i.valid, i.text, i.centre_of_zero, i.overload) for i in before} == {
        (False, "------ kg", False, False)
    }
    assert {i.reason for i in before[5:]} == {"initial zero not set yet"}
    for command in (*EVERY_WEIGHING, PresetTare(Decimal(100))):
        assert rig.ask(command).reason == "no weight: initial zero not set yet"
    shown = rig.settle(200.0)
    assert (shown.valid, shown.text, shown.centre_of_zero, shown.tare_d) == (True, "0 kg", True, 0)


def test_cells_are_told_before_the_initial_zero_is_set() -> None:
    rig = Rig("r76-iii", capacity="60000", initial_zero=True)
    rig.put(400.0, lambda t_us: 100.0 if (t_us // 100_000) % 2 else -100.0)
    rig.now_us = 3_000_000
    tick = run(rig.host, rig.nodes, rig.now_us)[-1]
    assert tick.indication.reason == "initial zero not set yet"
    assert tick.cells_kg == pytest.approx((100.0,) * 4)


def test_a_preset_tare_waits_for_the_initial_zero() -> None:
    rig = Rig(initial_zero=True)
    assert rig.settle(12_020.0).initial_zero_error
    assert not rig.ask(PresetTare(Decimal(100))).done
    rig.settle(0.0)
    assert rig.ask(PresetTare(Decimal(100))).done


def test_the_initial_zero_is_set_once_and_not_again_after_a_lost_node() -> None:
    rig = Rig(initial_zero=True)
    rig.settle(0.0)
    rig.settle(3_000.0)
    rig.host.link(LinkState(1, "lost", since_us=rig.now_us))
    rig.wait(1.0, drop=lambda _f: True)
    rig.host.link(LinkState(1, "flow", since_us=rig.now_us))
    rig.host.clock(rig.nodes[0].clock(rig.now_us))
    assert rig.wait(3.0)[-1].gross_d == 150


def test_a_zero_error_clears_with_the_condition_and_not_before() -> None:
    rig = Rig()
    rig.settle(1_500.0)
    assert not rig.ask(Zero()).done
    assert rig.shows.zero_error
    assert all(i.zero_error for i in rig.wait(2.0))
    assert not rig.settle(1_100.0).zero_error


def test_a_zero_refused_in_motion_is_forgiven_when_it_stands() -> None:
    rig = Rig()
    rig.settle(0.0)
    rig.put(5_000.0)
    rig.wait(0.2)
    assert not rig.ask(Zero()).done
    assert rig.shows.zero_error
    assert not rig.wait(3.0)[-1].zero_error


def test_a_zero_that_is_set_clears_the_error() -> None:
    rig = Rig()
    rig.settle(1_500.0)
    rig.ask(Zero())
    rig.put(500.0)
    rig.wait(0.1)
    assert rig.shows.zero_error
    rig.wait(2.0)
    assert rig.ask(Zero()).done
    assert not rig.shows.zero_error


def test_zero_is_refused_while_net_where_the_rules_do_not_clear_the_tare() -> None:
    rig = Rig()
    rig.settle(500.0)
    assert rig.ask(Tare()).done
    outcome = rig.ask(Zero())
    assert (outcome.done, outcome.reason) == (False, "a tare acts; clear it first")
    assert rig.shows.tare_d == 25
    assert rig.ask(ClearTare()).done
    assert not rig.wait(0.1)[-1].zero_error
    assert rig.ask(Zero()).done


def test_a_refused_zero_changes_nothing() -> None:
    rig = Rig("r76-iii", capacity="60000")
    rig.settle(2_000.0)
    rig.ask(Tare())
    before = rig.shows
    assert not rig.ask(Zero()).done
    assert (rig.shows.gross_d, rig.shows.tare_d, rig.shows.net_d) == (
        before.gross_d,
        before.tare_d,
        before.net_d,
    )


def test_zero_setting_lifts_an_underload_within_its_range() -> None:
    rig = Rig()
    assert rig.settle(-1_000.0).underload
    assert rig.ask(Zero()).done
    assert (rig.shows.underload, rig.shows.shows_figure, rig.shows.gross_d) == (False, True, 0)


def test_a_command_shows_at_once() -> None:
    rig = Rig()
    rig.settle(1_000.0)
    assert rig.ask(Zero()).done
    assert (rig.shows.gross_d, rig.shows.t_us) == (0, rig.now_us)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("-1", "below zero"),
        ("60000.1", "above the largest tare, 60000 kg"),
        ("NaN", "not a weight"),
        ("sNaN", "not a weight"),
        ("Infinity", "not a weight"),
        ("1E+999999", "above the largest tare"),
    ],
)
def test_a_preset_tare_that_cannot_be_is_refused_and_told(value: str, says: str) -> None:
    rig = Rig()
    rig.settle(1_000.0)
    outcome = rig.ask(PresetTare(Decimal(value)))
    assert not outcome.done
    assert says in outcome.reason
    assert rig.shows.tare_error
    assert not rig.shows.shows_net


@pytest.mark.parametrize("value", ["0", "-0", "9.999", "1E-999999"])
def test_a_preset_tare_that_rounds_to_nothing_clears(value: str) -> None:
    rig = Rig()
    rig.settle(1_000.0)
    rig.ask(Tare())
    assert rig.ask(PresetTare(Decimal(value))).done
    assert (rig.shows.shows_net, rig.shows.preset_tare) == (False, False)


def test_a_preset_tare_may_be_set_before_the_load_comes() -> None:
    rig = Rig()
    rig.settle(0.0)
    assert rig.ask(PresetTare(Decimal(8_000))).done
    assert rig.shows.text == "-8000 kg"
    assert rig.settle(20_000.0).text == "12000 kg"
    recorded = rig.ask(Record()).recorded
    assert recorded is not None
    assert (recorded.gross_d, recorded.tare_d, recorded.net_d, recorded.preset_tare) == (
        1_000,
        400,
        600,
        True,
    )


def test_a_net_below_zero_is_shown_but_not_recorded() -> None:
    rig = Rig()
    rig.settle(0.0)
    rig.ask(PresetTare(Decimal(8_000)))
    outcome = rig.ask(Record())
    assert (outcome.done, outcome.reason) == (False, "below zero")


def test_a_gross_below_zero_is_shown_but_not_recorded() -> None:
    rig = Rig()
    assert rig.settle(-40.0).text == "-40 kg"
    assert rig.ask(Record()).reason == "below zero"


@pytest.mark.parametrize("fraction", ["1", "0.5"])
def test_a_weighed_tare_ends_where_a_preset_one_does(fraction: str) -> None:
    most_kg = 60_000 * Decimal(fraction)
    rules = dataclasses.replace(load_profile("r76-iii"), largest_tare=Decimal(fraction))
    rig = Rig("r76-iii", rules=rules)
    rig.settle(float(most_kg) + 20.0)
    outcome = rig.ask(Tare())
    assert not outcome.done
    assert outcome.reason.endswith(f"above the largest tare, {most_kg:.0f} kg")
    assert (rig.shows.tare_d, rig.shows.tare_error) == (0, True)
    assert not rig.ask(PresetTare(most_kg + 20)).done
    assert rig.ask(PresetTare(most_kg)).done
    rig.settle(float(most_kg))
    assert rig.ask(Tare()).done


@pytest.mark.parametrize("away", [True, False])
def test_zero_tracking_waits_anew_after_a_time_without_a_stable_weight(away: bool) -> None:
    """What was put on meanwhile is no drift.  The wait of 2 s is an own choice."""
    rig = Rig(zero_tracking=True)
    rig.settle(0.0, seconds=5.0)
    rig.put(0.0, lambda t_us: 0.0 if away else 100.0 * math.sin(t_us * 1e-5))
    rig.wait(5.0, drop=lambda _frame: away)
    rig.put(4.0)
    back = rig.wait(6.0)
    first = next(i.t_us for i in back if not i.motion)
    assert {i.tenths_gross_d for i in back if first < i.t_us < first + 1_900_000} == {2}
    assert back[-1].tenths_gross_d == 0


def test_zero_setting_in_motion_is_refused_where_the_rules_want_it() -> None:
    rules = load_profile("hb44-iii")
    for wanted in (True, False):
        rig = Rig("hb44-iii", rules=dataclasses.replace(rules, zero_when_stable=wanted))
        rig.put(200.0, lambda t_us: 100.0 if (t_us // 100_000) % 2 else -100.0)
        assert rig.wait(3.0)[-1].motion
        assert rig.ask(Zero()).done is not wanted


def test_a_weighed_tare_replaces_a_preset_one() -> None:
    rig = Rig()
    rig.settle(2_000.0)
    rig.ask(PresetTare(Decimal(500)))
    assert rig.ask(Tare()).done
    assert (rig.shows.tare_d, rig.shows.preset_tare, rig.shows.net_d) == (100, False, 0)


def test_a_tare_error_clears_with_its_condition() -> None:
    rig = Rig()
    rig.settle(0.0)
    assert not rig.ask(Tare()).done
    assert rig.shows.tare_error
    assert rig.wait(1.0)[-1].tare_error
    assert not rig.settle(500.0).tare_error


def test_tenths_tell_what_the_count_hides() -> None:
    shown = Rig().settle(1_006.0)
    assert (shown.gross_d, shown.tenths_gross_d, shown.tenths_net_d) == (50, 503, 503)


def test_settings_no_host_could_keep_are_refused() -> None:
    from benchsim.ground.errors import BadInput
    from benchsim.host.host import Host

    seats = parts(cells=2).seats
    for wrong in (
        {"seats": ()},
        {"seats": (seats[0], seats[0])},
        {"update_hz": 7},
        {"update_hz": 0},
        {"rate_hz": 0},
        {"interval": Decimal("0")},
        {"interval": Decimal("NaN")},
        {"capacity_kg": Decimal("10")},
        {"averaging_us": -1},
        {"verification_interval": Decimal(19)},
        {"verification_interval": Decimal("201")},
        {"verification_interval": Decimal("NaN")},
    ):
        with pytest.raises(BadInput):
            Host(parts(**wrong), load_profile("r76-iii"))
