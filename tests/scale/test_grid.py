"""The sample grid: exact instants, whatever the rate and the clock error."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.readings import Counts
from benchsim.scale.grid import Grid, period_ps
from benchsim.scale.parts import Digitiser
from tests.scale.made import S, parts, scale

RATES = st.sampled_from([7.5, 10.0, 12.5, 60.0, 80.0, 100.0, 333.0, 4800.0])
HOUR_US = 3600 * S


def test_at_80_hz_a_sample_is_complete_every_12_5_ms() -> None:
    grid = Grid.begin(80.0, 0.0, 0)
    assert grid.times_us(0, 4).tolist() == [12_500, 25_000, 37_500, 50_000]
    assert grid.completed(24_999) == 1
    assert grid.completed(25_000) == 2


@pytest.mark.parametrize(("ppm", "samples"), [(0.0, 288_000), (100.0, 288_028), (-100.0, 287_971)])
def test_a_clock_error_shows_in_the_samples_of_an_hour(ppm: float, samples: int) -> None:
    """80 Hz x 3600 s x (1 + ppm) = 288 000 + 28.8 for 100 ppm: 28 whole samples more, or 29 begun less."""
    made = scale(parts(digitiser=Digitiser(clock_error_ppm=ppm)))
    count = sum(len(made.read(0, t * 600 * S).t_us) for t in range(1, 7))
    assert count == samples


@given(
    rate_hz=RATES,
    ppm=st.floats(-5000, 5000),
    start_us=st.integers(0, 10**12),
    first=st.integers(0, 10**10),
)
def test_every_instant_is_the_fraction_cut_to_a_microsecond(
    rate_hz: float, ppm: float, start_us: int, first: int
) -> None:
    grid = Grid.begin(rate_hz, ppm, start_us)
    exact = [start_us + (Fraction(period_ps(rate_hz, ppm), 10**6) * (n + 1)) // 1 for n in (first, first + 1)]
    assert grid.times_us(first, 2).tolist() == exact
    assert grid.completed(exact[0]) == first + 1
    assert grid.completed(exact[0] - 1) == first


@given(rate_hz=RATES, first=st.integers(0, 10**9))
def test_the_node_clock_counts_its_own_samples(rate_hz: float, first: int) -> None:
    times = Grid.begin(rate_hz, 37.0, 5).node_times_us(first, 3)
    assert times.tolist() == [
        round(Fraction(n + 1) * 10**6 / Fraction(rate_hz)) for n in range(first, first + 3)
    ]


def test_the_node_clock_of_an_instant_is_that_of_the_sample_complete_then() -> None:
    made = scale(parts(digitiser=Digitiser(clock_error_ppm=150.0)))
    block = made.read(0, HOUR_US)
    for place in (0, 1000, 287_999):
        shown = made.node_time_us(0, int(block.t_us[place]))
        assert abs(shown - int(block.node_t_us[place])) <= 1
    assert made.node_time_us(0, HOUR_US) - HOUR_US == pytest.approx(150e-6 * HOUR_US, abs=2)
    assert made.node_time_us(0, 0) == 0


@given(
    rate_hz=RATES,
    clocks=st.lists(st.tuples(st.integers(1, 3_000_000), st.floats(-5000, 5000)), min_size=1, max_size=6),
)
def test_a_clock_that_changes_keeps_the_phase_of_the_sample_under_way(
    rate_hz: float, clocks: list[tuple[int, float]]
) -> None:
    """Samples counted by phase: each span adds its length over its period, exactly."""
    grid, t_us, phase = Grid.begin(rate_hz, 0.0, 0), 0, Fraction(0)
    times = [-1]
    for gap_us, ppm in clocks:
        at_us = t_us + gap_us
        times += [grid.time_us(n) for n in range(len(times) - 1, grid.completed(at_us))]
        phase += Fraction(gap_us * 10**6, grid.period_ps)
        changed = grid.with_clock(ppm, at_us)
        assert changed.completed(at_us) == grid.completed(at_us)
        assert abs(changed.node_time_us(at_us) - grid.node_time_us(at_us)) <= 1
        grid, t_us = changed, at_us
        assert abs(phase - grid.completed(at_us)) < 1 + Fraction(len(clocks) * 2 * 10**6, grid.period_ps)
    times += [grid.time_us(n) for n in range(len(times) - 1, len(times) + 50)]
    assert times == sorted(set(times))


def test_a_clock_that_speeds_up_never_puts_a_sample_on_what_was_read() -> None:
    """1 us before the first sample, 5000 ppm faster: it stays behind the instant of the change."""
    assert Grid.begin(80.0, 0.0, 0).with_clock(5000.0, 12_499).time_us(0) == 12_500


def joined(blocks: list[Counts]) -> tuple[list[int], list[int]]:
    return (
        np.concatenate([b.t_us for b in blocks]).tolist(),
        np.concatenate([b.node_t_us for b in blocks]).tolist(),
    )


def test_blocks_number_their_samples_from_the_start_without_a_gap() -> None:
    made = scale(parts())
    blocks = [made.read(0, t) for t in (12_499, 12_500, 12_500, 90_000, 3 * S)]
    assert [b.first for b in blocks] == [0, 0, 1, 1, 7]
    assert [len(b.t_us) for b in blocks] == [0, 1, 0, 6, 233]
    t_us, node_t_us = joined(blocks)
    assert t_us == node_t_us == list(range(12_500, 3 * S + 1, 12_500))


def test_asking_for_the_past_gives_nothing() -> None:
    made = scale(parts())
    made.read(0, S)
    assert len(made.read(0, S // 2).t_us) == 0
