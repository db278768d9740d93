"""Which host instant a sample belongs to, by a clock that is read now and then."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.readings import ClockReading
from benchsim.host.node_clock import NodeClock

RATE_HZ = 80


def started(offset_us: int, round_trip_us: int = 2_000) -> NodeClock:
    """A clock that was read once; host time = node time + offset."""
    clock = NodeClock(RATE_HZ)
    clock.read(ClockReading(1, offset_us + 10_000, 10_000, round_trip_us))
    clock.begin(0, 12_500)
    return clock


@given(st.integers(-(10**10), 10**10))
def test_a_sample_belongs_to_the_instant_nearest_to_it(offset_us: int) -> None:
    clock = started(offset_us)
    for counter in (0, 1, 1_000):
        host_us = (counter + 1) * 12_500 + offset_us
        assert abs(clock.instant_of(counter) * 12_500 - host_us) <= 6_250


@given(st.integers(0, 3_000), st.lists(st.integers(0, 30_000), min_size=1, max_size=20))
def test_readings_within_their_round_trips_never_move_a_mapping_that_is_right(
    off_us: int, trips: list[int]
) -> None:
    """A true offset near a whole instant, readings wrong by up to half their round trip."""
    clock = started(off_us, 0)
    for number, trip_us in enumerate(trips):
        wrong_us = (trip_us // 2) * (1 if number % 2 else -1)
        node_us = 1_000_000 * (number + 1)
        assert clock.read(ClockReading(1, node_us + off_us + wrong_us, node_us, trip_us)) is None


def test_a_good_reading_is_not_spoiled_by_worse_ones() -> None:
    clock = started(0, 0)
    for second in range(1, 30):
        node_us = second * 1_000_000
        assert clock.read(ClockReading(1, node_us + 9_000, node_us, 20_000)) is None  # off by 9 ms of 10
    assert clock.instant_of(0) == 1


def test_a_slip_moves_new_samples_and_leaves_old_ones_where_they_were() -> None:
    clock = started(0)
    clock.highest = 799
    shift = clock.read(
        ClockReading(1, 10_000_000 + 10_000, 10_000_000, 0)
    )  # 10 ms late, more than 3/4 of 12.5
    assert shift == 2
    clock.move(shift)
    assert [clock.instant_of(n) for n in (0, 799, 800, 801)] == [1, 800, 802, 803]


def test_a_clock_that_was_stepped_is_believed_anew() -> None:
    clock = started(0, 0)
    shift = clock.read(ClockReading(1, 2_000_000, 70_000_000, 2_000))
    assert shift is not None
    clock.move(shift)
    assert clock.instant_of(5_600) == 5_601 - 68 * RATE_HZ
