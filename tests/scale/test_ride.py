"""Vehicles that brake, rock and bump: SciPy's answer of the same body, momentum, and rest after it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, signal

from benchsim.ground.commands import Axle, Drive
from benchsim.ground.errors import BadInput
from benchsim.scale.designs import DESIGNS, design
from benchsim.scale.ride import FOOTPRINT_M, forward_kg
from benchsim.scale.springs import springs
from benchsim.scale.vehicle import Vehicle
from tests.scale.made import S, output_mv_per_v, parts, scale

G = 9.80665
Floats = NDArray[np.float64]
AXLES = (Axle(6_000.0, 0.0), Axle(9_000.0, 4.0))
SPRUNG = Drive(
    "lorry", AXLES, 2.0, 7.0, 1.5, None, 0.8, springs_hz=1.8, springs_damping=0.12, centre_height_m=1.4
)


@pytest.mark.parametrize("damping", [0.05, 0.2, 0.7])
def test_springs_answer_as_scipy_s_transfer_function_does(damping: float) -> None:
    w = 2.0 * math.pi * 1.7
    t_s = np.linspace(0.0, 6.0, 3_001)
    body = ([2.0 * damping * w, w * w], [1.0, 2.0 * damping * w, w * w])
    on = springs(1.7, damping)
    _, step = signal.step(body, T=t_s)
    assert on.pushed(t_s * 1e6) == pytest.approx(step, abs=2e-5)
    _, impulse = signal.impulse(body, T=t_s)
    # The force over mass under a road that rises at 1 m/s is the impulse's answer.
    assert on.bumped(t_s[1:] * 1e6) == pytest.approx(impulse[1:], abs=3e-4)
    assert (
        on.pushed(np.array([-1.0, 0.0])).tolist() == on.bumped(np.array([-1.0, 0.0])).tolist() == [0.0, 0.0]
    )


@given(
    masses=st.lists(st.floats(500.0, 1e4), min_size=2, max_size=6),
    apart=st.floats(0.8, 5.0),
    height=st.floats(0.1, 2.5),
)
def test_braking_shifts_load_without_sum_and_in_balance_with_its_moment(
    masses: list[float], apart: float, height: float
) -> None:
    """Sum 0; moment about the ground: sum of shifted x lever = mass x height / g, a 1 m/s2 braking."""
    axles = tuple(Axle(m, n * apart) for n, m in enumerate(masses))
    shifted = forward_kg(replace(SPRUNG, axles=axles, centre_height_m=height))
    assert math.fsum(shifted) == pytest.approx(0.0, abs=1e-6)
    moment = math.fsum(-f * a.behind_m for f, a in zip(shifted, axles, strict=True))
    assert moment == pytest.approx(sum(masses) * height / G, rel=1e-9)
    assert shifted[0] > 0.0 > shifted[-1]


def pressed(vehicle: Vehicle, t_us: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
    sums = np.zeros(len(t_us)), np.zeros(len(t_us)), np.zeros(len(t_us))
    vehicle.press_on(sums, t_us)
    return sums


def test_two_axles_shift_by_the_textbook_s_lever() -> None:
    """m a h / (g L) from the rear to the front while it brakes evenly, both axles on."""
    vehicle = Vehicle.arrive(replace(SPRUNG, springs_hz=0.0, stop_x_m=7.5), 8.0, 0)
    at = np.array([vehicle.stop_us - 300_000])
    standing_m = float(vehicle.first_axle_m(at)[0])
    mass, x, _ = (float(v[0]) for v in pressed(vehicle, at))
    shift_kg = 15_000.0 * 0.8 * 1.4 / (G * 4.0)
    assert mass == pytest.approx(15_000.0)
    assert x == pytest.approx((6_000.0 + shift_kg) * standing_m + (9_000.0 - shift_kg) * (standing_m - 4.0))


def test_what_braking_shifts_adds_up_over_time_to_the_speed_that_was_lost() -> None:
    """Impulse: the integral of the shifted mass is forward_kg x speed, the rocking after it included."""
    vehicle = Vehicle.arrive(SPRUNG, 50.0, 0)
    assert vehicle.ride is not None
    t_us = np.arange(0, 30 * S, 500)
    more = vehicle.ride.more_kg(0, t_us, 0)
    assert float(np.sum(more)) * 500e-6 == pytest.approx(forward_kg(SPRUNG)[0] * 2.0, rel=2e-3)
    assert np.abs(more[-2_000:]).max() < 1e-2


def test_stopping_and_going_shift_as_much_forward_as_back() -> None:
    """The vehicle has its speed again: the impulse of all the shifting is 0."""
    vehicle = Vehicle.arrive(replace(SPRUNG, stands_us=10 * S), 50.0, 0)
    assert vehicle.ride is not None
    more = vehicle.ride.more_kg(0, np.arange(0, 50 * S, 500), 0)
    assert abs(float(np.sum(more)) * 500e-6) < 2e-3 * forward_kg(SPRUNG)[0] * 2.0
    assert more.max() > 0.9 * forward_kg(SPRUNG)[0] * 0.8 < -more.min() / 0.9


def test_a_vehicle_that_comes_braking_has_shifted_before() -> None:
    """1 m to the stop at 0.8 m/s2: it has braked for long when its first axle comes on."""
    vehicle = Vehicle.arrive(replace(SPRUNG, stop_x_m=1.0), 8.0, 0)
    assert vehicle.ride is not None
    shifted = vehicle.ride.more_kg(0, np.array([1, S]), 0)
    assert shifted == pytest.approx([forward_kg(SPRUNG)[0] * 0.8] * 2, rel=1e-9)


def test_a_slow_axle_takes_the_edge_slowly() -> None:
    """The second axle comes on 3 m before the stop at sqrt(2 a s), slower than the first where a is small."""
    vehicle = Vehicle.arrive(replace(SPRUNG, acceleration_m_per_s2=0.3, edge_step_m=0.005), 8.0, 0)
    assert vehicle.ride is not None
    times_us = [bump[0] for bump in vehicle.ride.bumps if bump is not None]
    paces = [min(2.0, math.sqrt(2.0 * 0.3 * way)) for way in (7.0, 3.0)]
    assert times_us == pytest.approx([FOOTPRINT_M / v * 1e6 for v in paces], rel=1e-4)


def test_an_axle_that_takes_an_edge_answers_as_a_body_on_springs_and_leaves_no_momentum() -> None:
    """SciPy integrates the body over a ramp of one footprint; afterwards its impulse is 0."""
    bumpy = replace(SPRUNG, centre_height_m=0.0, edge_step_m=0.006)
    vehicle = Vehicle.arrive(bumpy, 8.0, 0)
    assert vehicle.ride is not None
    w, d, lasts_s = 2.0 * math.pi * 1.8, 0.12, FOOTPRINT_M / 2.0

    def moves(t_s: float, state: Floats) -> list[float]:
        road = min(t_s, lasts_s) / lasts_s * 0.006
        rises = 0.006 / lasts_s if t_s < lasts_s else 0.0
        return [state[1], w * w * (road - state[0]) + 2.0 * d * w * (rises - state[1])]

    t_s = np.linspace(0.001, 5.0, 500)
    found = integrate.solve_ivp(
        moves, (0.0, 5.0), [0.0, 0.0], t_eval=t_s, max_step=0.002, rtol=1e-9, atol=1e-12
    )
    force = np.array([moves(t, y)[1] for t, y in zip(t_s, found.y.T, strict=True)]) * 6_000.0 / G
    t_us = np.rint(t_s * 1e6).astype(np.int64)
    own = vehicle.ride.more_kg(0, t_us, 0)
    away = np.abs(t_s - lasts_s) > 0.011  # right at the end of the ramp the damper's part jumps
    assert own[away] == pytest.approx(force[away], abs=0.01 * np.abs(force).max())
    whole = vehicle.ride.more_kg(0, np.arange(0, 20 * S, 500), 0)
    assert abs(float(np.sum(whole)) * 500e-6) < 1e-3 * float(np.sum(np.abs(whole))) * 500e-6


def test_when_it_stands_every_axle_weighs_what_it_does_at_rest() -> None:
    """Statics of two axles on four corners, once deck and body have come to rest; and it leaves 0."""
    made = scale(parts(dead_load_kg=6_000.0))
    made.do(replace(SPRUNG, edge_step_m=0.004, stands_us=40 * S), 0)
    block = made.read(0, 70 * S)
    cells_kg = output_mv_per_v(block) / 2.0 * 30_000.0 - 1_500.0
    far_kg = 6_000.0 * 7.0 / 8.0 + 9_000.0 * 3.0 / 8.0
    stands = 35 * 80
    assert cells_kg[stands] == pytest.approx([(15_000.0 - far_kg) / 2] * 2 + [far_kg / 2] * 2, abs=0.5)
    assert cells_kg[-1] == pytest.approx([0.0] * 4, abs=0.1)
    assert np.abs(cells_kg.sum(axis=1)).max() > 15_200.0
    still = scale(parts(dead_load_kg=6_000.0))
    still.do(replace(SPRUNG, springs_hz=0.0, centre_height_m=0.0, stands_us=40 * S), 0)
    other = output_mv_per_v(still.read(0, 70 * S)) / 2.0 * 30_000.0 - 1_500.0
    rocking = 6 * 80  # just after the stop the body still nods
    assert np.abs(cells_kg[rocking : rocking + 80] - other[rocking : rocking + 80]).max() > 20.0


def test_a_vehicle_that_would_stand_on_its_nose_is_refused() -> None:
    made = scale(parts())
    with pytest.raises(BadInput, match=r"would lift axle 1 off the ground at 50 m/s2; at most [\d.]+ m/s2"):
        made.do(replace(SPRUNG, acceleration_m_per_s2=50.0, centre_height_m=3.0), 0)
    with pytest.raises(BadInput, match="springs is 30 Hz; 0 to 20 Hz"):
        made.do(replace(SPRUNG, springs_hz=30.0), 0)


@pytest.mark.parametrize("name", DESIGNS)
def test_a_design_carries_its_load_on_its_axles(name: str) -> None:
    """The axles' sum is vehicle and load; every axle bears, empty and full; braking shifts less than that."""
    own = DESIGNS[name]
    for load_kg in (0.0, own.payload_kg):
        axles = own.axles_with(load_kg)
        assert math.fsum(a.mass_kg for a in axles) == pytest.approx(own.empty_kg + load_kg)
        assert min(a.mass_kg for a in axles) > 0.0
        drive = Drive(name, axles, 1.0, 5.0, 1.0, centre_height_m=own.centre_height_m(load_kg))
        for more_kg, axle in zip(forward_kg(drive), axles, strict=True):
            assert abs(more_kg) * 0.5 < axle.mass_kg
    assert [b for b, _, _ in own.axles] == sorted(b for b, _, _ in own.axles)


def test_a_design_is_refused_what_it_cannot_carry() -> None:
    with pytest.raises(BadInput, match="a car with 5000 kg; at most 450 kg"):
        design("car", 5_000.0)
    with pytest.raises(BadInput, match="unknown vehicle 'lory'; did you mean 'lorry'"):
        design("lory", 0.0)


# -- one vehicle over two decks ----------------------------------------------------------------------------


@given(
    gap_m=st.floats(0.05, 6.0),
    lengths=st.tuples(st.floats(2.0, 12.0), st.floats(2.0, 12.0)),
    stop_m=st.floats(0.0, 12.0),
    wheelbase_m=st.floats(0.5, 15.0),
    stands_s=st.integers(0, 10),
)
def test_over_two_decks_every_axle_is_on_one_of_them_or_on_the_ground(
    gap_m: float, lengths: tuple[float, float], stop_m: float, wheelbase_m: float, stands_s: int
) -> None:
    """Conservation: both decks and the ground carry the whole at any time, by where the axles are."""
    axles = (Axle(5_000.0, 0.0), Axle(7_000.0, 0.6 * wheelbase_m), Axle(3_000.0, wheelbase_m))
    whole = Drive("lorry", axles, 2.5, stop_m, 1.5, stands_s * S, 0.6)
    begins_m = (0.0, lengths[0] + gap_m)
    decks = [
        Vehicle.arrive(replace(whole, begins_m=b), length, 0)
        for b, length in zip(begins_m, lengths, strict=True)
    ]
    lasts_us = max(v.gone_us or 0 for v in decks) + S
    t_us = np.arange(1, lasts_us, 50_021)
    on = []
    for vehicle in decks:
        sums = np.zeros(len(t_us)), np.zeros(len(t_us)), np.zeros(len(t_us))
        vehicle.add_to(sums, t_us)
        on.append(sums[0])
    first_m = decks[0].first_axle_m(t_us)
    assert decks[1].first_axle_m(t_us) == pytest.approx(first_m, abs=1e-9)
    ground = np.zeros(len(t_us))
    margin = np.zeros(len(t_us), bool)  # within a millimetre of an edge the microsecond decides
    for axle in axles:
        at = first_m - axle.behind_m
        inside = [(at >= b) & (at <= b + length) for b, length in zip(begins_m, lengths, strict=True)]
        assert not (inside[0] & inside[1]).any()
        ground += np.where(inside[0] | inside[1], 0.0, axle.mass_kg)
        for edge in (b + e for b, length in zip(begins_m, lengths, strict=True) for e in (0.0, length)):
            margin |= np.abs(at - edge) < 1e-3
    assert (on[0] + on[1] + ground)[~margin] == pytest.approx(np.full(int((~margin).sum()), 15_000.0))


def test_two_scales_see_one_vehicle_pass_and_their_cells_agree_with_where_it_stands() -> None:
    """It stops with two axles on the first deck and one on the second: each indicates its own."""
    axles = (Axle(5_000.0, 0.0), Axle(7_000.0, 4.0), Axle(3_000.0, 6.0))
    whole = Drive("lorry", axles, 2.0, 10.0, 1.5, 60 * S, 0.6)
    first, second = scale(parts(dead_load_kg=8_000.0)), scale(parts(dead_load_kg=8_000.0), seed=2)
    first.do(whole, 0)
    second.do(replace(whole, begins_m=9.0), 0)
    found = [
        output_mv_per_v(made.read(0, 60 * S)).sum(axis=1)[-1] / 2.0 * 30_000.0 - 8_000.0
        for made in (first, second)
    ]
    assert found == pytest.approx([10_000.0, 5_000.0], abs=0.01)
    with pytest.raises(BadInput, match="stops at"):
        scale(parts()).do(replace(whole, stop_x_m=30.0), 0)
