"""The host's list of gaps and the replay window, by themselves."""

from __future__ import annotations

from benchsim.link.gaps import Gaps, Window
from benchsim.link.limits import AGAIN_GRACE_US, AGAIN_RETRY_US, AGAIN_TRIES, MAX_GAPS, REPLAY_WINDOW


def test_many_gaps_at_once_are_bounded() -> None:
    gaps = Gaps(0, 60_000)
    for n in range(MAX_GAPS + 10):
        assert gaps.take(2 * n + 1, 1, 0)
    assert len(gaps.gaps) == MAX_GAPS
    assert gaps.given_up == 10


def test_a_gap_is_asked_for_after_the_grace_and_not_before() -> None:
    gaps = Gaps(0, 1000)
    gaps.take(8, 8, 1000)
    assert gaps.due_us() == 1000 + AGAIN_GRACE_US
    assert gaps.ask(1000 + AGAIN_GRACE_US - 1) == ()
    assert gaps.ask(1000 + AGAIN_GRACE_US) == ((0, 8),)
    assert gaps.due_us() == 1000 + AGAIN_GRACE_US + AGAIN_RETRY_US


def test_newer_gaps_use_up_no_tries_of_an_older_one() -> None:
    gaps = Gaps(0, 100_000)
    now_us = 0
    for n in range(3 * AGAIN_TRIES):
        gaps.take(16 * n + 8, 8, now_us)  # one more gap in front of it
        now_us += AGAIN_GRACE_US
        assert len(gaps.ask(now_us)) == n + 1
    assert gaps.given_up == 0
    for _ in range(AGAIN_TRIES - 1):  # nobody answers from here on: the oldest has asked once before
        now_us += AGAIN_RETRY_US
        assert (0, 8) in gaps.ask(now_us)
    assert gaps.ask(now_us + AGAIN_RETRY_US) == ()
    assert gaps.given_up == 8 * 3 * AGAIN_TRIES


def test_samples_partly_had_are_not_taken() -> None:
    gaps = Gaps(0, 1000)
    assert gaps.take(0, 8, 0)
    assert not gaps.take(4, 8, 0)
    assert gaps.take(16, 8, 0)
    assert not gaps.take(4, 8, 0)
    assert gaps.take(10, 2, 0)
    assert [(g.first, g.end) for g in gaps.gaps] == [(8, 10), (12, 16)]


def test_a_window_takes_each_number_once_and_none_older_than_itself() -> None:
    window = Window()
    for number in (0, 5, 3, 70):
        assert window.fresh(number)
        window.take(number)
        assert not window.fresh(number)
    assert not window.fresh(70 - REPLAY_WINDOW)
    assert window.fresh(70 - REPLAY_WINDOW + 1)
    window.take(1000)
    assert not window.fresh(70)
