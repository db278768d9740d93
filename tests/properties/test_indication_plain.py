"""Every figure and flag against a plain loop in exact fractions over the same counts."""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction
from math import floor

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.readings import Indication, Samples
from tests.host.feed import COUNTS_PER_KG, ZERO_COUNTS, Node, flow, host, run

D_KG = 20
LASTS_US = 5_000_000


@dataclass(frozen=True)
class Rules:
    """Instants that must be stable, how far they may lie off and drift, in d, and the overload limit."""

    instants: int
    band_d: Fraction
    settled_d: Fraction
    most_d: int


# HB 44 S.2.5.1, S.1.7(a) and Canada C.R.C. 1605; R 76-1 4.4.2, 4.2.3.  Drift: own choice.
VEHICLE = Rules(33, Fraction(3), Fraction(1, 2), 3_150)
PLATFORM = Rules(81, Fraction(1, 2), Fraction(1, 4), 3_009)


def of_node(frames: list[Samples], number: int) -> Fraction:
    """A node's sample of that number, in d."""
    frame = frames[number // frames[0].rows]
    row = np.frombuffer(frame.octets, "<i4").reshape(frame.rows, -1)[number % frame.rows]
    return sum((Fraction(int(c)) - Fraction(ZERO_COUNTS)) / Fraction(COUNTS_PER_KG) for c in row) / Fraction(
        D_KG
    )


def plain(frames: list[list[Samples]], t_us: int, averaging: int, rules: Rules) -> dict[str, object] | None:
    """What is shown at t_us of nodes with the same clock; None while there are too few samples."""
    there = [[f for f in of_one if f.arrived_us <= t_us] for of_one in frames]
    counts = [sum(f.rows for f in of_one) for of_one in there]
    count = min(counts)
    if count < averaging:
        return None
    begin = max(0, count - max(averaging, rules.instants))
    apart = [[of_node(of_one, n) for n in range(begin, count)] for of_one in there]
    weights = [sum(each, Fraction(0)) for each in zip(*apart, strict=True)]
    mean = sum(weights[-averaging:], Fraction(0)) / averaging
    gross_d = floor(mean + Fraction(1, 2))
    watched, half = weights[-rules.instants :], rules.instants // 2
    drift = sum(watched[-half:], Fraction(0)) - sum(watched[:half], Fraction(0))
    stands = len(watched) == rules.instants and all(abs(w - mean) <= rules.band_d for w in watched)
    stands = stands and abs(drift) <= rules.settled_d * half
    for of_one, each, more in zip(there, apart, counts, strict=True):  # what one node has sent ahead
        share = sum(each[-averaging:], Fraction(0)) / averaging
        stands = stands and all(abs(of_node(of_one, n) - share) <= rules.band_d for n in range(count, more))
    age_us = t_us - count * 12_500
    frame_us = max(of_one[0].rows for of_one in there) * 12_500
    stands = stands and age_us <= 500_000 and age_us - frame_us <= 200_000
    figure = -20 <= gross_d <= rules.most_d
    return {
        "gross_d": gross_d if figure else 0,
        "tenths_gross_d": floor(10 * mean + Fraction(1, 2)) if figure else 0,
        "motion": not stands,
        "overload": gross_d > rules.most_d,
        "underload": gross_d < -20,
        "centre_of_zero": figure and abs(mean) <= Fraction(1, 4),
    }


def seen(shown: Indication) -> dict[str, object]:
    names = ("gross_d", "tenths_gross_d", "motion", "overload", "underload", "centre_of_zero")
    return {name: getattr(shown, name) for name in names}


@settings(max_examples=16, deadline=None)
@given(
    st.integers(0, 2**32),
    st.sampled_from(["hb44-iiil-vehicle", "r76-iii"]),
    st.sampled_from([1, 8, 20, 80]),
    st.sampled_from([4_000, 56_000, 180_000, 230_000]),
)
def test_what_shows_is_what_a_plain_loop_makes_of_the_counts(
    seed: int, profile: str, rows: int, delay_us: int
) -> None:
    chance = random.Random(seed)
    loads = [
        chance.choice([0.0, 5.0, 10.0, 20.0, 12_345.67, 60_185.0, 63_009.0, -390.0, -420.0]) for _ in range(3)
    ]
    shake_kg = chance.choice([0.0, 2.0, 30.0, 90.0])
    shakes = [chance.uniform(-shake_kg, shake_kg) for _ in range(977)]

    def weight(t_us: int) -> float:
        return loads[min(t_us // 2_000_000, 2)] + shakes[t_us // 12_500 % 977]

    it = host(profile, cells=8, averaging_us=chance.choice([12_500, 100_000, 400_000]))
    nodes = [Node(a, weight, share=0.5, rows=rows) for a in (1, 2)]
    nodes[1].delay_us = delay_us
    frames = [node.until(LASTS_US) for node in nodes]
    for node in nodes:
        node.next = 0
    flow(it, *nodes)
    rules = VEHICLE if profile == "hb44-iiil-vehicle" else PLATFORM
    averaging = it._parts.averaging_us // 12_500
    for tick in run(it, nodes, LASTS_US):
        expected = plain(frames, tick.indication.t_us, averaging, rules)
        assert tick.indication.valid == (expected is not None)
        if expected is not None:
            assert seen(tick.indication) == expected
