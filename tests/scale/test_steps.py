"""A step of load starts at its own time: the deck beside the closed form of the second-order step response.

Between two samples nothing is known but what the deck has done meanwhile; so every rate, and every place of
the step within the interval, must give the same swing.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove
from benchsim.scale.parts import Cell, Digitiser
from benchsim.scale.receptor import shares
from benchsim.scale.scale import Scale
from tests.scale.made import S, output_mv_per_v, parts, scale

MIDDLE = ((4.0, 1.5),)
HZ = 8.0


def swung(t_s: NDArray[np.float64], damping_ratio: float) -> NDArray[np.float64]:
    """Response of w^2 / (s^2 + 2 D w s + w^2) to a step at 0, by its two poles (textbook)."""
    w, after = 2.0 * math.pi * HZ, np.maximum(t_s, 0.0)
    if damping_ratio == 1.0:
        return np.asarray(1.0 - (1.0 + w * after) * np.exp(-w * after))
    root = cmath.sqrt(damping_ratio * damping_ratio - 1.0)
    one, other = w * (-damping_ratio + root), w * (-damping_ratio - root)
    free = (other * np.exp(one * after) - one * np.exp(other * after)) / (one - other)
    return np.asarray(1.0 + free.real)


def one_support(rate_hz: float, damping_ratio: float = 0.08) -> Scale:
    made = parts(Cell(30_000.0), MIDDLE, Digitiser(bits=32, rate_hz=rate_hz), 0.0, HZ, damping_ratio)
    return scale(made)


def expected_kg(
    t_us: NDArray[np.int64], steps: Sequence[tuple[float, float]], damping_ratio: float = 0.08
) -> NDArray[np.float64]:
    """steps: (second, mass)."""
    found = np.zeros(len(t_us))
    for at_s, kg in steps:
        found += kg * swung(np.asarray(t_us * 1e-6 - at_s), damping_ratio)
    return found


def read_kg(made: Scale, until_us: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    block = made.read(0, until_us)
    return block.t_us, output_mv_per_v(block) / 2.0 * 30_000.0


@pytest.mark.parametrize("damping_ratio", [0.02, 0.08, 0.7, 1.0, 2.5])
@pytest.mark.parametrize("rate_hz", [2.0, 10.0, 80.0, 1000.0])
@pytest.mark.parametrize("phase", [0.0, 0.001, 0.25, 0.5, 0.999])
def test_a_load_set_down_swings_as_the_closed_form_says(
    rate_hz: float, phase: float, damping_ratio: float
) -> None:
    at_us = S + round(phase * 1e6 / rate_hz)
    made = one_support(rate_hz, damping_ratio)
    made.do(Place("block", 10_000.0, 4.0, 1.5), at_us)
    t_us, found_kg = read_kg(made, 6 * S)
    expected = expected_kg(t_us, [(at_us * 1e-6, 10_000.0)], damping_ratio)
    # Half a count of 32 bits is 1.4e-5 kg; the deck is taken to rest at 3e-7 kg.
    assert found_kg[:, 0] == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize("phase_us", [1, 30_000, 62_500, 99_999])
def test_the_first_swing_is_as_high_at_ten_samples_a_second(phase_us: int) -> None:
    """Height at the first peak, pi / (w sqrt(1 - D^2)) after the step: exp(-pi D / sqrt(1 - D^2)) above.

    The load is put down half a swing before a sample, so that sample lies at the peak.
    """
    swing_s = 0.5 / (HZ * math.sqrt(1.0 - 0.08**2))
    made = one_support(10.0)
    made.do(Place("block", 10_000.0, 4.0, 1.5), 2 * S - round(swing_s * 1e6))
    made.do(Place("other", 5.0, 4.0, 1.5), 3 * S + phase_us)
    _, found_kg = read_kg(made, 5 * S)
    above = found_kg[19, 0] / 10_000.0 - 1.0
    assert above == pytest.approx(math.exp(-math.pi * 0.08 / math.sqrt(1.0 - 0.08**2)), abs=1e-6)


@pytest.mark.parametrize("rate_hz", [2.0, 10.0, 80.0])
def test_loads_put_down_moved_and_taken_off_between_two_samples_each_start_at_their_own_time(
    rate_hz: float,
) -> None:
    healthy = parts(Cell(30_000.0), digitiser=Digitiser(bits=32, rate_hz=rate_hz))
    # No dead load holds the deck down.
    pulling = tuple(replace(s, anchored=True) for s in healthy.receptor.supports)
    made = scale(replace(healthy, receptor=replace(healthy.receptor, supports=pulling)))
    made.do(Place("stone", 4_000.0, 1.0, 0.5), 1_000_100)
    made.do(Place("block", 10_000.0, 2.0, 1.0), 1_002_000)
    made.do(Move("block", 7.0, 2.5), 1_005_000)
    made.do(Remove("stone"), 1_011_999)
    t_us, found_kg = read_kg(made, 6 * S)
    receptor = parts().receptor
    here, there, stone = (np.array(shares(receptor, *at)) for at in ((2.0, 1.0), (7.0, 2.5), (1.0, 0.5)))
    for cell in range(4):
        steps = [
            (1.0001, 4_000.0 * stone[cell]),
            (1.002, 10_000.0 * here[cell]),
            (1.005, 10_000.0 * (there - here)[cell]),
            (1.011999, -4_000.0 * stone[cell]),
        ]
        assert found_kg[:, cell] == pytest.approx(expected_kg(t_us, steps), abs=2e-5)


@pytest.mark.parametrize("rate_hz", [2.0, 10.0, 80.0])
@pytest.mark.parametrize("came_us", [0, 37_123, 99_999])
def test_axles_come_on_and_go_off_at_their_own_time(rate_hz: float, came_us: int) -> None:
    """2 m/s, 0.5 m/s2, stop at 7 m: it brakes from 3 m, 1.5 s, where the second axle comes on; it stands from
    5.5 s to 15.5 s; the first axle is off after 1 m, sqrt(2 * 1 / 0.5) = 2 s, the second after 4 m, 4 s."""
    made = one_support(rate_hz)
    axles = (Axle(6_000.0, 0.0), Axle(9_000.0, 3.0))
    made.do(Drive("lorry", axles, 2.0, 7.0, 1.5, 10 * S, 0.5), came_us)
    t_us, found_kg = read_kg(made, 25 * S)
    times = ((0.0, 6_000.0), (1.5, 9_000.0), (17.5, -6_000.0), (19.5, -9_000.0))
    steps = [(came_us * 1e-6 + at_s, kg) for at_s, kg in times]
    assert found_kg[:, 0] == pytest.approx(expected_kg(t_us, steps), abs=2e-5)


def test_an_axle_that_goes_off_and_a_load_put_down_between_two_samples_are_two_steps() -> None:
    """The vehicle has left the deck's books when the next sample comes, yet its last axle swings on."""
    made = one_support(2.0)
    made.do(Drive("lorry", (Axle(6_000.0, 0.0),), 2.0, 7.0, 1.5, 10 * S, 0.5), 100_000)
    made.do(Place("block", 1_000.0, 4.0, 1.5), 17_700_000)
    t_us, found_kg = read_kg(made, 25 * S)
    steps = [(0.1, 6_000.0), (17.6, -6_000.0), (17.7, 1_000.0)]
    assert found_kg[:, 0] == pytest.approx(expected_kg(t_us, steps), abs=2e-5)


def test_an_axle_that_stops_at_the_very_end_of_its_way_on_counts_from_there() -> None:
    """The second axle reaches the deck as the first one stops: 1 m at 2 m/s, then 4 m of braking in 4 s."""
    made = one_support(10.0)
    axles = (Axle(6_000.0, 0.0), Axle(9_000.0, 5.0))
    made.do(Drive("lorry", axles, 2.0, 5.0, 1.5, None, 0.5), 40_000)
    t_us, found_kg = read_kg(made, 12 * S)
    assert made.true_kg(np.array([4_540_000, 4_540_001])).tolist() == [6_000.0, 15_000.0]
    steps = [(0.04, 6_000.0), (4.54, 9_000.0)]
    assert found_kg[:, 0] == pytest.approx(expected_kg(t_us, steps), abs=2e-5)


def test_a_dead_load_that_changes_is_a_step_too() -> None:
    made, later = one_support(10.0), parts(Cell(30_000.0), MIDDLE, Digitiser(bits=32, rate_hz=10.0))
    made.change(replace(later, receptor=replace(later.receptor, dead_load_kg=300.0)), 1_020_000)
    t_us, found_kg = read_kg(made, 6 * S)
    assert found_kg[:, 0] == pytest.approx(expected_kg(t_us, [(1.02, 300.0)]), abs=2e-5)
