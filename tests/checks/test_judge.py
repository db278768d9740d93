"""Verdicts: when a check looks, what it takes for kept; nothing passes for want of anything to see."""

from __future__ import annotations

from math import nan

import pytest

from benchsim.record.trace import Trace
from tests.checks.asked import kept, step_run, verdict
from tests.record.runs import between, indication, run, trace


@pytest.fixture
def step() -> Trace:
    return step_run()


# -- when ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("at 1.9 s gross is zero", True),
        ("at 1.999999 s gross is zero", True),  # what stood then is the update of 1.9 s
        ("at 2 s gross is zero", False),
        ("at 2 s gross is 18.4 t", True),
        ("at the end gross is 18.4 t", True),
        ("from 0 s to 1.9 s gross is zero", True),
        ("from 0 s to 2 s gross is zero", False),  # both ends count
        ("from 2 s on gross is 18.4 t", True),
        ("from 1.9 s on gross is 18.4 t", False),
        ("until 1.9 s gross is zero", True),
        ("until 2 s gross is zero", False),
        ("within 0.5 s after 1.5 s gross is 18.4 t", True),  # both ends count
        ("within 0.4 s after 1.5 s gross is 18.4 t", False),
        ("within 0 s after 2 s gross is 18.4 t", True),
        ("always gross is at most 18.4 t", True),
        ("always gross is below 18.4 t", False),
        ("never gross is between 1 t and 18 t", True),
        ("never gross is 18.4 t", False),
    ],
)
def test_times(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "at_us"),
    [
        ("within 4 s after 1 s gross is above 1 t", 2_000_000),
        ("always gross is zero", 2_000_000),
        ("never motion is on", 2_000_000),
        ("at 2.25 s gross is zero", 2_250_000),
        ("from 1 s to 2.5 s gross is zero", 2_000_000),
        ("for at least 0.5 s motion is on", 2_000_000),
        ("never for more than 0.5 s motion is on", 2_000_000),
    ],
)
def test_the_verdict_names_the_exact_instant(step: Trace, sentence: str, at_us: int) -> None:
    assert verdict(sentence, step).at_us == at_us


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        # A state lasts from the update that shows it up to the update that no longer does: 2 s to 3 s.
        ("for at least 1 s motion is on", True),
        ("for at least 1.000001 s motion is on", False),
        ("never for more than 1 s motion is on", True),
        ("never for more than 0.999999 s motion is on", False),
        ("for at least 2 s stable is on", True),  # 3 s to the last update, at 6 s
        ("for at least 3 s stable is on", True),
        ("for at least 3.000001 s stable is on", False),
        ("from 2.5 s to 6 s for at least 0.5 s motion is on", True),
        ("from 2.5 s to 6 s for at least 0.6 s motion is on", False),
        ("within 1 s after 1.5 s for at least 1 s motion is on", True),  # begins inside, may end outside
        ("within 0.4 s after 1.5 s for at least 1 s motion is on", False),
        ("never for more than 1 s overload is on", True),
        ("for at least 0 s overload is on", False),
    ],
)
def test_how_long(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("motion is on exactly once", True),
        ("stable is on exactly twice", True),  # it was at the start, and came back
        ("motion is on at least 2 times", False),
        ("overload is on exactly 0 times", True),
        ("from 2.5 s to 6 s motion is on exactly once", True),
        ("from 3 s to 6 s motion is on at most 0 times", True),
    ],
)
def test_how_often_a_state_begins(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


# -- nothing to look at ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        ("at 61 s gross is 18.4 t", "61 s is outside the run (the run ends at 6 s)"),
        ("at 0.05 s gross is zero", "no indication yet"),
        ("from 0.01 s to 0.09 s gross is zero", "no indication from 0.01 s to 0.09 s"),
        ("from 3 s to 9 s gross is 18.4 t", "the run ends at 6 s, before 9 s"),
        ("from 8 s to 9 s gross is 18.4 t", "8 s is outside the run"),
        ("always error is zero while overloaded", "nothing to judge: never overloaded"),
        ("at 1 s gross is zero while in motion", "at 1 s not in motion"),
        ("always node 1 is flow", "nothing heard of node 1 yet"),
        ("at 3 s node 1 is flow", "nothing heard of node 1 yet"),
        ("at 3 s cell 9 is zero", "there is no cell 9; the scale has 4"),
        ("during fault wind gross is zero", "the fault wind never began"),
        ("within 1 s after the end of fault wind gross is zero", "the fault wind never ended"),
        ("recorded", "no command record"),
        ("always command zero is done", "no command zero"),
        ('at 3 s answer of scp0499 is ""', "no answer of scp0499"),
        ("from 3 s to 9 s recorded at most 2 times", "the run ends at 6 s, before 9 s"),
        ("from 3 s to 9 s never recorded", "the run ends at 6 s, before 9 s"),
        ("from 3 s to 9 s never for more than 1 s motion is on", "the run ends at 6 s, before 9 s"),
        ("within 9 s after 3 s motion is on", "the run ends at 6 s, before 12 s"),
    ],
)
def test_nothing_passes_for_want_of_anything_to_see(step: Trace, sentence: str, words: str) -> None:
    given = verdict(sentence, step)
    assert words in given.found
    assert not given.passed


def test_a_never_whose_while_was_never_met_is_kept_and_says_so(step: Trace) -> None:
    given = verdict("never motion is on while gross is above 30 t", step)
    assert (given.passed, given.found) == (True, "kept: never gross is above 30 t")


def test_a_run_without_an_update_keeps_no_check_on_states() -> None:
    for sentence in ("at 0 s gross is zero", "always motion is off", "never overload is on", "at 0 s blank"):
        assert not kept(sentence, trace())


def test_a_weight_that_was_never_shown_is_not_judged() -> None:
    blank = run(20, overload=lambda t: True)
    given = verdict("never gross is above 5 t", blank)
    assert not given.passed
    assert "no figure shown: overload" in given.found


def test_times_may_come_up_to_one_update_after_the_last_or_to_the_end_the_bench_gave(step: Trace) -> None:
    assert kept("at 6.1 s gross is 18.4 t", step)
    assert not kept("at 6.100001 s gross is 18.4 t", step)
    step.ended_us = 6_050_000
    assert kept("at 6.05 s gross is 18.4 t", step)
    assert not kept("at 6.06 s gross is 18.4 t", step)


def test_a_range_that_runs_backwards_on_this_scale_keeps_no_check(step: Trace) -> None:
    given = verdict("from 3 s to 4 s gross is not between 18.4 t and 10 d", step)
    assert (given.passed, "runs backwards" in given.found) == (False, True)


# -- where a weight counts -------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["overload", "underload", "initial_zero_error"])
def test_a_weight_counts_only_where_a_figure_may_be_shown(state: str) -> None:
    made = trace()
    for t_us in (900_000, 1_000_000, 1_100_000):
        blank = t_us == 1_000_000
        made.add(indication(t_us, 5000 if blank else 0, **{state: blank}), 0.0, [0.0] * 4)
    assert kept("always gross is zero while indication is not blank", made)
    assert kept("never gross is not zero", made)
    assert kept("at 1 s indication is blank", made)
    assert not kept("at 1 s gross is 100 t", made)


def test_a_weight_does_not_count_while_the_indication_is_invalid() -> None:
    made = run(20, lambda t: 77 if t == 1_000_000 else 0, valid=lambda t: t != 1_000_000)
    assert kept("always gross is zero while valid", made)
    assert not kept("always gross is zero", made)
    assert not kept("never indication is invalid", made)
    assert not kept("always indication is valid", made)
    assert not kept("at 1 s gross is 77 d", made)


def test_the_whole_run_is_judged_from_its_first_figure_on_and_the_verdict_says_so() -> None:
    made = run(20, valid=lambda t: t >= 1_000_000)
    assert verdict("always gross is zero", made).found == (
        "kept at all 11 updates from the first figure on, at 1 s: gross 0 kg"
    )
    assert verdict("always gross is zero while valid", made).found == "kept at all 11 updates: gross 0 kg"
    assert verdict("never gross is 1 d", made).found == (
        "kept at 11 of 20 updates, the others gave nothing to judge: gross 0 kg"
    )


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("from 1 s to 2 s gross is zero", False),
        ("until 2 s gross is zero", False),
        ("from 0.9 s on stable is on", False),
        ("always gross is zero", False),
        ("from 1 s to 2 s gross is zero while valid", True),
        ("from 1 s to 2 s gross is zero while indication is not blank", True),
        ("from 1.3 s to 2 s gross is zero", True),
        ("from 1 s to 2 s true mass is zero", True),  # true values are there without an indication
        ("within 1 s after 1 s gross is zero", True),
    ],
)
def test_a_moment_without_a_figure_fails_what_must_hold_all_through(sentence: str, passes: bool) -> None:
    made = run(20, valid=lambda t: not 1_000_000 <= t < 1_300_000, reason=lambda t: "node 2 lost")
    given = verdict(sentence, made)
    assert given.passed is passes
    if not passes:
        at = 900_000 if "0.9" in sentence else 1_000_000
        assert given.found == "an invalid indication: node 2 lost at 1 s (and 2 more times up to 1.2 s)"
        assert given.at_us == max(at, 1_000_000)


def test_a_flag_counts_only_on_a_valid_indication() -> None:
    made = run(20, motion=lambda t: t == 1_000_000, valid=lambda t: t != 1_000_000)
    assert kept("never motion is on", made)
    given = verdict("at 1 s motion is on", made)
    assert (given.passed, given.found) == (False, "an invalid indication: no reason given")


def test_zero_and_tare_errors_do_not_blank_the_weight() -> None:
    made = run(20, zero_error=lambda t: True, tare_error=lambda t: True)
    assert kept("always gross is zero", made)
    assert kept("always zero error is on", made)


def test_shown_is_net_while_a_tare_acts_else_gross() -> None:
    made = run(20, lambda t: 100, tare_d=lambda t: 40, shows_net=between(1, 9))
    assert kept("until 0.9 s shown is 100 d", made)
    assert kept("from 1 s on shown is 60 d", made)
    assert kept("always net is 60 d", made)
    assert kept("always tare is 40 d", made)
    assert kept("from 1 s on net shown is on", made)


def test_cells_true_mass_and_error() -> None:
    made = run(20, lambda t: 100, lambda t: 1990.0)
    assert kept("always true mass is 1.99 t", made)
    assert kept("always cell 4 is 497.5 kg", made)
    assert kept("always error is 0.5 d", made)
    assert kept("always error is 10 kg", made)
    assert not kept("always error is within 9.999999 kg", made)


def test_a_cell_may_have_a_figure_while_the_whole_has_none_and_the_other_way_round() -> None:
    made = trace(cells=2)
    made.add(indication(100_000, valid=False, reason="cell 1: no bridge"), 50.0, [nan, 25.0])
    made.add(indication(200_000, 5), nan, [nan, 25.0])
    assert kept("at 0.1 s cell 2 is 25 kg", made)
    assert verdict("at 0.2 s cell 1 is 25 kg", made).found == "no figure of cell 1"
    assert verdict("at 0.2 s error is zero", made).found == "no figure of error"
    assert verdict("at 0.2 s gross is 5 d while gross is cell 1", made).found.startswith("nothing to judge")
    assert verdict("at 0.2 s gross is cell 1", made).found == "no figure of cell 1"
    assert not kept("at 0.2 s cell 1 is not 25 kg", made)


def test_fine_weights_are_in_tenths_of_d() -> None:
    made = run(20, lambda t: 100, lambda t: 1998.0, tenths_gross_d=lambda t: 999, tenths_net_d=lambda t: 499)
    assert kept("always fine gross is 99.9 d", made)
    assert kept("always fine net is 998 kg", made)
    assert kept("always fine error is zero", made)
    assert kept("always error is 2 kg", made)


def test_steady_begins_with_the_update_that_brought_the_last_change(step: Trace) -> None:
    assert kept("at 1.9 s gross is steady for 1.8 s", step)  # since the first update, at 0.1 s
    assert not kept("at 2 s gross is steady for 0.000001 s", step)
    assert kept("at 2.5 s gross is steady for 0.5 s", step)
    assert not kept("at 2.5 s gross is steady for 0.500001 s", step)
    assert kept("always gross is 18.4 t while gross is above zero and gross is steady for 1 s", step)
