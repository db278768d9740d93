"""Faults on a timeline that come and go, at a beat or at random, and that grow."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from scipy import stats

from benchsim.ground import commands as ask
from benchsim.ground.randomness import Streams
from benchsim.scenario import strikes
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load_text
from tests.scenario.texts import DECK, built, told

T = DECK + "timeline:\n"
HOUR_US = 3_600_000_000


def edges(*items: str, seed: int | None = None) -> list[tuple[float, str]]:
    """(seconds, what) of all that a timeline becomes."""
    text = T + "".join(f"  - {item}\n" for item in items)
    timeline = assemble(load_text(text, "s.yaml"), seed).plan.timeline
    return [(s.t_us / 1e6, str(s.command)) for s in timeline]


def test_a_fault_strikes_at_a_beat_and_for_so_long() -> None:
    start, end = "start outage on 1 as outage", "end fault outage"
    assert edges("{at: 5 s, fault: outage, on: node 1, every: 10 s, lasting: 2 s, until: 27 s}") == [
        (5.0, start), (7.0, end), (15.0, start), (17.0, end), (25.0, start), (27.0, end),
    ]  # fmt: skip


def test_the_last_strike_ends_where_the_item_ends() -> None:
    assert edges("{at: 5 s, fault: outage, every: 10 s, lasting: 4 s, for: 12 s}")[-1][0] == 17.0


@pytest.mark.parametrize(("at_s", "left"), [("6", [5.0, 6.0]), ("8", [5.0, 7.0]), ("15", [5.0, 7.0])])
def test_a_fault_that_comes_and_goes_can_be_ended_while_it_acts_and_while_it_rests(
    at_s: str, left: list[float]
) -> None:
    found = edges(
        "{at: 5 s, fault: outage, every: 10 s, lasting: 2 s, for: 60 s}",
        f"{{at: {at_s} s, end fault: outage}}",
    )
    assert [t for t, _ in found] == left


def test_an_earlier_end_takes_the_place_of_a_later_one() -> None:
    found = edges("{at: 5 s, fault: outage, until: 60 s}", "{at: 9 s, end fault: outage}")
    assert found == [(5.0, "start outage as outage"), (9.0, "end fault outage")]


RANDOM = "{at: 5 s, fault: outage, rate: 20 /h, lasting: 30 s, for: 2 h}"


def test_the_same_seed_strikes_at_the_same_times_whatever_else_happens() -> None:
    alone = edges(RANDOM, seed=7)
    assert len(alone) > 20
    assert alone == edges(RANDOM, seed=7) != edges(RANDOM, seed=8)
    beside = edges("{at: 4 s, fault: fading, rate: 9 /h, lasting: 1 s, for: 2 h}", RANDOM, seed=7)
    assert [edge for edge in beside if "outage" in edge[1]] == alone


def test_random_strikes_are_a_poisson_process() -> None:
    """1000 h at 6 /h: the count within 4 standard deviations, gaps exponential by Kolmogorov-Smirnov."""
    spells = strikes.random(0, 1000 * HOUR_US, 6.0, 1_000, Streams(3).dice("strikes"))
    assert len(spells) == pytest.approx(6000, abs=4 * math.sqrt(6000))
    gaps_h = [(later - earlier) / HOUR_US for (earlier, _), (later, _) in pairwise(spells)]
    assert stats.kstest(gaps_h, stats.expon(scale=1 / 6).cdf).pvalue > 0.001


def test_strikes_that_overlap_are_one_and_none_lasts_beyond_the_end() -> None:
    spells = strikes.random(0, 10 * HOUR_US, 60.0, HOUR_US // 60, Streams(3).dice("strikes"))
    assert all(end < begin for (_, end), (begin, _) in pairwise(spells))
    assert all(begin < end <= 10 * HOUR_US for begin, end in spells)
    # M/D/infinity: idle a share exp(-rate x lasting) of the time; here exp(-1), within 4 deviations or so.
    idle = 1.0 - sum(end - begin for begin, end in spells) / (10 * HOUR_US)
    assert idle == pytest.approx(math.exp(-1.0), abs=0.08)


def test_a_fault_that_grows_says_how_long() -> None:
    [item] = built(T + "  - {at: 5 s, fault: zero-shift, on: cell 1, growing: 2 min}\n").plan.timeline
    assert item.command == ask.StartFault("zero-shift", "zero-shift", 1, {}, 120_000_000)
    assert str(item.command) == "start zero-shift on 1 as zero-shift, growing for 120 s"


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("every: 10 s, for: 60 s", "every without lasting; say how long each strike lasts: lasting: 20 s"),
        ("rate: 6 /h, for: 60 s", "rate without lasting"),
        ("every: 10 s, lasting: 2 s", "every without until or for; say how long"),
        ("rate: 6 /h, lasting: 2 s", "rate without until or for"),
        ("lasting: 2 s", "lasting without every or rate; add every: 10 min"),
        ("every: 10 s, rate: 6 /h, lasting: 2 s, for: 60 s", "both every and rate; keep one of them"),
        ("every: 10 s, lasting: 10 s, for: 60 s", "lasting: 10 s is no shorter than every; less than 10 s"),
        ("every: 10 ms, lasting: 1 ms, for: 10 min", "every: 60000 times; at most 5000"),
        ("rate: 6, lasting: 2 s, for: 60 s", "'6' has no unit; write a rate of happening, as '6 /h'"),
        ("rate: 6 Hz, lasting: 2 s, for: 60 s", "is a frequency, not a rate of happening"),
    ],
)
def test_what_cannot_be_is_told_with_its_place(keys: str, said: str) -> None:
    [line] = told(T + f"  - {{at: 5 s, fault: outage, {keys}}}\n")
    assert line.startswith("s.yaml:6:")
    assert said in line
