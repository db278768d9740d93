"""A vehicle's way by the formulas of uniform and uniformly accelerated motion."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from benchsim.ground.commands import Axle, Drive, Remove
from benchsim.scale.vehicle import Vehicle
from tests.scale.made import S, output_mv_per_v, parts, scale

AXLES = (Axle(6_000.0, 0.0), Axle(9_000.0, 4.0))


def drive(
    speed: float = 2.0, stop: float = 7.0, stands_us: int | None = 20 * S, acceleration: float = 0.5
) -> Drive:
    return Drive("lorry", AXLES, speed, stop, 1.5, stands_us, acceleration)


def place_m(vehicle: Vehicle, *seconds: float) -> list[float]:
    t_us = np.array([round(s * S) for s in seconds], np.int64)
    return [float(x) for x in vehicle.first_axle_m(t_us)]


def test_it_cruises_brakes_and_stands_where_it_should() -> None:
    """2 m/s, 0.5 m/s2: braking takes 4 s and 4 m, so it brakes at 3 m after 1.5 s and stands at 5.5 s."""
    vehicle = Vehicle.arrive(drive(), 8.0, 0)
    assert vehicle.stop_us == 5_500_000
    assert place_m(vehicle, 0.0, 1.0, 1.5, 3.5, 5.5, 9.0) == pytest.approx([0.0, 2.0, 3.0, 6.0, 7.0, 7.0])


def test_it_pulls_away_and_is_gone_when_its_last_axle_is_past_the_end() -> None:
    """From 7 m the last axle, 4 m behind, has 5 m to go: 4 m and 4 s to 2 m/s, then 1 m in 0.5 s."""
    vehicle = Vehicle.arrive(drive(), 8.0, 0)
    assert vehicle.go_us == 25_500_000
    assert vehicle.gone_us is not None
    assert abs(vehicle.gone_us - 30_000_000) <= 2
    assert place_m(vehicle, 25.5, 27.5, 29.5, 30.0) == pytest.approx([7.0, 8.0, 11.0, 12.0])


def test_where_the_way_is_short_it_has_braked_before_it_came() -> None:
    """1 m at 0.5 m/s2: it comes at 1 m/s and stands after 2 s."""
    vehicle = Vehicle.arrive(drive(stop=1.0), 8.0, 0)
    assert vehicle.stop_us == 2_000_000
    assert place_m(vehicle, 0.0, 1.0, 2.0) == pytest.approx([0.0, 0.75, 1.0])


@given(
    speed=st.floats(0.3, 15.0),
    acceleration=st.floats(0.1, 5.0),
    stop=st.floats(0.0, 12.0),
    stands_s=st.integers(0, 30),
)
def test_its_place_is_the_integral_of_its_speed(
    speed: float, acceleration: float, stop: float, stands_s: int
) -> None:
    """Speed: at most v, at most what the braking distance allows, and a * t after it goes."""
    vehicle = Vehicle.arrive(drive(speed, stop, stands_s * S, acceleration), 8.0, 0)
    assert vehicle.go_us is not None
    assert vehicle.gone_us is not None
    t_us = np.linspace(0, vehicle.gone_us, 4_001).astype(np.int64)
    left_s, on_s = (vehicle.stop_us - t_us) / S, (t_us - vehicle.go_us) / S
    pace = np.minimum(speed, acceleration * np.maximum(np.maximum(left_s, on_s), 0.0))
    way = integrate.cumulative_trapezoid(pace, t_us / S, initial=0)
    found = vehicle.first_axle_m(t_us)
    assert found == pytest.approx(found[0] + way, abs=0.1)
    assert found[0] == pytest.approx(0.0, abs=1e-4)
    assert np.all(np.diff(found) > -1e-9)


def test_each_axle_counts_while_it_is_on_the_receptor() -> None:
    """First axle on at 0 s, second at 3 s minus a little; first off at 8 m (27.5 s), second at 30 s."""
    made = scale(parts())
    made.do(drive(), 0)
    second_on_s = 5.5 - math.sqrt(2.0 * 3.0 / 0.5)  # 4 m: 3 m before the stop
    marks = [0.1, second_on_s - 0.01, second_on_s + 0.01, 20.0, 27.49, 27.51, 29.99, 30.01]
    found = made.true_kg(np.array([round(m * S) for m in marks])).tolist()
    assert found == [6_000.0, 6_000.0, 15_000.0, 15_000.0, 15_000.0, 9_000.0, 9_000.0, 0.0]


def test_its_weight_moves_along_the_supports() -> None:
    made = scale(parts())
    made.do(drive(), 0)
    first, second = 7.0 / 8.0, 3.0 / 8.0
    far_kg = 6_000.0 * first + 9_000.0 * second
    found = made.true_cells_kg(np.array([10 * S]))[0]
    assert found == pytest.approx([(15_000.0 - far_kg) / 2] * 2 + [far_kg / 2] * 2, abs=1e-6)


def test_without_an_end_it_stands_until_it_is_removed_and_then_drives_off() -> None:
    made = scale(parts())
    made.do(drive(stands_us=None), 0)
    made.read(0, 100 * S)
    assert made.loads == ("lorry",)
    made.do(Remove("lorry"), 100 * S)
    found = made.true_kg(np.array([99 * S, 101 * S, 103 * S, round(104.6 * S)])).tolist()
    assert found == [15_000.0, 15_000.0, 9_000.0, 0.0]
    made.read(0, 110 * S)
    assert not made.loads


def test_removed_on_its_way_it_stops_and_goes_at_once() -> None:
    made = scale(parts())
    made.do(drive(stands_us=None), 0)
    made.do(Remove("lorry"), 2 * S)
    assert made.true_kg(np.array([5 * S, round(5.6 * S), round(10.1 * S)])).tolist() == [
        15_000.0,
        15_000.0,
        0.0,
    ]


def test_told_twice_it_goes_once() -> None:
    made = scale(parts())
    made.do(drive(stands_us=None), 0)
    made.do(Remove("lorry"), 10 * S)
    made.do(Remove("lorry"), 12 * S)
    assert made.true_kg(np.array([round(14.4 * S), round(14.6 * S)])).tolist() == [9_000.0, 0.0]


def test_the_sum_of_the_cells_ends_at_its_mass() -> None:
    made = scale(parts(dead_load_kg=4_000.0))
    made.do(drive(), S)
    block = made.read(0, 60 * S)
    sum_kg = output_mv_per_v(block).sum(axis=1) / 2.0 * 30_000.0 - 4_000.0
    standing = round(26.4 * 80)
    assert sum_kg[standing] == pytest.approx(15_000.0, abs=0.01)
    assert sum_kg[-1] == pytest.approx(0.0, abs=1e-3)
    assert sum_kg.max() > 15_100.0
