"""How long states last: up to the instant that no longer shows them, or to the end of the look; how often."""

from __future__ import annotations

import pytest

from benchsim.ground.readings import LinkState
from benchsim.record.trace import Trace
from tests.checks.asked import kept, step_run, verdict
from tests.record.runs import run


@pytest.fixture
def step() -> Trace:
    return step_run()


@pytest.fixture
def lost() -> Trace:
    """A minute; node 1 flows from 2 s and is lost from 10 s to the end."""
    made = run(600)
    for t_us, word in ((0, "seek"), (2_000_000, "flow"), (10_000_000, "lost")):
        made.link(t_us, LinkState(1, word, word))
    made.ended_us = 60_000_000
    return made


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("never for more than 2 s node 1 is lost", False),
        ("never for more than 50 s node 1 is lost", True),
        ("for at least 20 s node 1 is lost", True),
        ("for at least 50 s node 1 is lost", True),
        ("for at least 50.000001 s node 1 is lost", False),
        ("from 12 s to 20 s never for more than 7 s node 1 is lost", False),
        ("from 12 s to 20 s for at least 8 s node 1 is lost", True),
        ("within 1 s after 10 s for at least 50 s node 1 is lost", True),
        ("for at least 8 s node 1 is flow", True),
        ("for at least 8.000001 s node 1 is flow", False),
        ("from 59.95 s to 60 s for at least 0.05 s stable is on", True),
    ],
)
def test_what_holds_at_the_last_look_lasts_to_its_end(lost: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, lost) is passes


def test_the_time_a_state_lasted_is_told(lost: Trace) -> None:
    assert verdict("never for more than 2 s node 1 is lost", lost).found == "longest 50 s, from 10 s to 60 s"


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        # Motion lasts from 2 s to 3 s; only what lies inside the stretch counts.
        ("from 1 s to 2.5 s for at least 0.5 s motion is on", True),
        ("from 1 s to 2.5 s for at least 0.6 s motion is on", False),
        ("until 2.5 s for at least 0.6 s motion is on", False),
        ("from 1 s to 2.5 s never for more than 0.5 s motion is on", True),
        ("within 1.5 s after 1 s for at least 1 s motion is on", True),  # begins inside, may end outside
    ],
)
def test_after_from_and_until_a_state_must_last_inside_that_time(
    step: Trace, sentence: str, passes: bool
) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "found"),
    [
        (
            "within 1 s after 2.5 s for at least 10 s stable is on",
            "longest 3.1 s, from 3 s to 6.1 s, the run ends at 6 s while it lasts",
        ),
        (
            "for at least 4 s stable is on",
            "longest 3 s, from 3 s to 6 s, the run ends at 6 s while it lasts",
        ),
        ("for at least 2 s motion is on", "longest 1 s, from 2 s to 3 s"),
        (
            "from 2.5 s to 8 s for at least 4 s stable is on",
            "longest 3.1 s, from 3 s to 6.1 s, the run ends at 6 s, before 8 s",
        ),
    ],
)
def test_a_check_that_the_end_of_the_run_cut_short_says_so(step: Trace, sentence: str, found: str) -> None:
    given = verdict(sentence, step)
    assert (given.passed, given.found) == (False, found)


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("from 2.01 s to 2.09 s gross is 18.4 t", True),
        ("from 2.01 s to 2.09 s gross is zero", False),
        ("from 1.95 s to 2 s gross is 18.4 t", False),  # zero stood until 2 s
        ("from 2.01 s to 2.09 s never motion is on", False),
        ("within 40 ms after 2.03 s gross is 18.4 t within 1 d", True),
        ("within 0 s after 1.95 s gross is zero", True),
        ("from 2.01 s to 2.09 s for at least 80 ms motion is on", True),
        ("from 2.01 s to 2.09 s motion is on exactly once", True),
        ("from 0.01 s to 0.3 s gross is zero", True),  # before the first indication there is no state
    ],
)
def test_what_stands_between_two_updates_is_seen(step: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, step) is passes


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("stable is on exactly once", True),
        ("gross is zero exactly once", True),
        ("indication is valid exactly twice", True),
        ("stable is on exactly twice while valid", False),
        ("for at least 2.4 s stable is on", True),
        ("for at least 2.6 s stable is on", False),  # an invalid indication does not show it
    ],
)
def test_a_moment_without_a_figure_does_not_make_two_states_of_one(sentence: str, passes: bool) -> None:
    made = run(50, valid=lambda t: t != 2_500_000)
    assert kept(sentence, made) is passes


def test_a_figure_that_is_another_after_a_moment_without_one_is_another_state() -> None:
    made = run(50, lambda t: 1 if t > 2_500_000 else 0, valid=lambda t: t != 2_500_000)
    assert kept("gross is zero exactly once", made)
    assert kept("gross is 1 d exactly once", made)
    assert kept("gross is below 5 d exactly once", made)
