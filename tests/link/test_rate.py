"""A rate and its queue: deterministic arrivals have exact waiting times; Poisson arrivals textbook ones."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.randomness import Dice
from benchsim.link.impairments.rate import Rate
from benchsim.link.runs import Runs

FOREVER = 1 << 40
FRAME = bytes(100)
MS = Rate(800_000)  # 100 octets take 1 ms


def _waits(rate: Rate, times_us: list[int]) -> list[int | None]:
    """How long each frame of 100 octets waited before its first bit went out; None: lost."""
    passage, service_us = rate.start(Dice(1)), rate.air_us(len(FRAME))
    outs = [passage.carry(FRAME, t) for t in times_us]
    return [out[0][0] - service_us - t if out else None for t, out in zip(times_us, outs, strict=True)]


# -- air time ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "octets", "expected_us"),
    [
        (Rate(250_000), 176, 5632),  # 32 us an octet
        (Rate(250_000, overhead_octets=17), 100, 117 * 32),
        (Rate(250_000, overhead_octets=17, piece_octets=116), 232, (232 + 34) * 32),
        (Rate(250_000, overhead_octets=17, piece_octets=116), 233, (233 + 51) * 32),
        (Rate(9_600, bits_per_octet=10), 96, 100_000),
        (Rate(9_600, bits_per_octet=11), 1, 1146),  # 1145.83 us, rounded up
        (Rate(115_200, bits_per_octet=10), 178, 15_452),  # 15451.4 us
    ],
)
def test_a_frame_takes_its_bits_at_the_rate(rate: Rate, octets: int, expected_us: int) -> None:
    assert rate.air_us(octets) == expected_us
    assert rate.start(Dice(1)).carry(bytes(octets), 7) == ((7 + expected_us, bytes(octets)),)


def test_utilisation_is_air_time_and_turnaround_by_the_spacing_of_frames() -> None:
    assert MS.utilisation(100, 10) == pytest.approx(0.01)
    assert Rate(800_000, turnaround_us=250).utilisation(100, 400) == pytest.approx(0.5)
    assert MS.utilisation(100, 1500) == pytest.approx(1.5)


# -- deterministic arrivals ----------------------------------------------------------------------------


@pytest.mark.parametrize("spacing_us", [1000, 1001, 5000])
def test_frames_that_come_no_faster_than_they_leave_never_wait(spacing_us: int) -> None:
    assert set(_waits(MS, [spacing_us * n for n in range(300)])) == {0}


def test_each_frame_waits_longer_when_they_come_faster_than_they_leave() -> None:
    # service S = 1000 us, spacing T = 750 us: the n-th waits n (S - T)
    assert _waits(Rate(800_000, queue=FOREVER), [750 * n for n in range(200)]) == [
        250 * n for n in range(200)
    ]


def test_of_frames_that_come_at_once_the_n_th_waits_for_n_others() -> None:
    assert _waits(MS, [5] * 6) == [0, 1000, 2000, 3000, 4000, 5000]


@pytest.mark.parametrize("queue", [0, 1, 5])
def test_a_full_queue_drops_and_holds_no_more_than_its_places(queue: int) -> None:
    waits = _waits(Rate(800_000, queue=queue), [0] * 20)
    assert waits == [1000 * n for n in range(queue + 1)] + [None] * (19 - queue)


@pytest.mark.parametrize(("spacing_us", "queue"), [(500, 0), (500, 4), (800, 3), (250, 16)])
def test_a_way_that_cannot_keep_up_carries_one_frame_each_service_time(spacing_us: int, queue: int) -> None:
    # in the long run 1 / S of 1 / T get through: loss = 1 - T / S
    count = 40_000
    waits = _waits(Rate(800_000, queue=queue), [spacing_us * n for n in range(count)])
    assert waits.count(None) / count == pytest.approx(1 - spacing_us / 1000, abs=(queue + 2) / count)
    assert max(w for w in waits if w is not None) <= queue * 1000


def test_a_place_is_free_again_as_soon_as_its_frame_sets_out() -> None:
    # sets out at 0, 1000, 2000, 3000; the one place is taken 1..1000, 1000..2000 and 2001..3000
    assert _waits(Rate(800_000, queue=1), [0, 1, 999, 1000, 1999, 2001]) == [0, 999, None, 1000, None, 999]


def test_frames_leave_in_the_order_in_which_they_came() -> None:
    passage = Rate(80_000).start(Dice(1))
    sizes = [100, 10, 50, 1, 80]
    arrivals = [passage.carry(bytes(n), 10 * i)[0][0] for i, n in enumerate(sizes)]
    assert arrivals == [sum(sizes[: i + 1]) * 100 for i in range(len(sizes))]


# -- turnaround ----------------------------------------------------------------------------------------


def test_a_transmitter_turns_around_after_it_has_listened_and_not_between_frames() -> None:
    # first of a row: 192 us; the row goes on while the next is there as the last bit goes out
    rate = Rate(800_000, turnaround_us=192)
    assert _waits(rate, [0, 500, 2192, 3192, 4193]) == [192, 692, 0, 0, 192]


def test_a_frame_that_comes_while_it_turns_around_waits_for_the_one_before() -> None:
    assert _waits(Rate(800_000, turnaround_us=400), [0, 100]) == [400, 1300]


# -- frames at random ----------------------------------------------------------------------------------


def _poisson(mean_us: int, count: int) -> list[int]:
    runs, times, now_us = Runs(1 / mean_us, Dice(12)), [], 0
    for _ in range(count):
        now_us += runs.next() + 1
        times.append(now_us)
    return times


@pytest.mark.parametrize("load", [0.3, 0.6])
def test_frames_at_random_wait_as_pollaczek_and_khinchine_say(load: float) -> None:
    # one server, fixed service S: mean wait = load S / (2 (1 - load))
    count = 120_000
    waits = [
        w for w in _waits(Rate(800_000, queue=FOREVER), _poisson(round(1000 / load), count)) if w is not None
    ]
    expected = load * 1000 / (2 * (1 - load))
    assert len(waits) == count
    assert sum(waits) / count == pytest.approx(expected, rel=0.03)
    assert waits.count(0) / count == pytest.approx(1 - load, abs=0.01)


@pytest.mark.parametrize("load", [0.2, 1.0, 3.0])
def test_without_a_queue_frames_at_random_are_lost_as_erlang_says(load: float) -> None:
    # Erlang's loss formula for one server, whatever the spread of service: load / (1 + load)
    count = 60_000
    waits = _waits(Rate(800_000, queue=0), _poisson(round(1000 / load), count))
    expected = load / (1 + load)
    assert abs(waits.count(None) / count - expected) <= 4 * math.sqrt(expected * (1 - expected) / count)


# -- any frames at any times ---------------------------------------------------------------------------


@given(
    gaps_us=st.lists(st.integers(0, 3000), min_size=1, max_size=40),
    sizes=st.lists(st.integers(1, 200), min_size=40, max_size=40),
    queue=st.integers(0, 4),
    turnaround_us=st.sampled_from([0, 192, 700]),
)
def test_the_way_carries_one_frame_at_a_time_and_loses_one_only_when_its_queue_is_full(
    gaps_us: list[int], sizes: list[int], queue: int, turnaround_us: int
) -> None:
    rate = Rate(800_000, overhead_octets=3, queue=queue, turnaround_us=turnaround_us)
    passage, now_us, free_us = rate.start(Dice(1)), 0, -1
    on_its_way: list[tuple[int, int]] = []  # when each frame that was taken left the queue and arrived
    for gap_us, size in zip(gaps_us, sizes, strict=False):
        now_us += gap_us
        waiting = sum(left_us > now_us for left_us, _ in on_its_way)
        out = passage.carry(bytes(size), now_us)
        if not out:
            assert waiting == queue
            assert free_us > now_us
            continue
        arrival_us = out[0][0]
        begins_us = arrival_us - (size + 3) * 10
        idle = free_us < now_us
        assert begins_us == (now_us + turnaround_us if idle else free_us)
        on_its_way.append((now_us if idle else free_us, arrival_us))
        free_us = arrival_us
        assert sum(left_us > now_us for left_us, _ in on_its_way) <= queue
