"""What faults of the deck do to a whole bench, beside statics by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsim.bench.bench import Bench
from benchsim.ground import commands as ask
from tests.faults.test_seen import HEALTHY, LOAD_D, LOAD_KG, LOOK_S, bench_with, cells_kg, gross_d

G = 9.80665
IN_THE_MIDDLE = ((5.0, ask.Place("block", LOAD_KG, 7.0, 1.5)),)


def test_a_sunken_support_hangs_free_until_the_load_brings_the_deck_down() -> None:
    bench = bench_with("sunken-support", support=3, depth_m=0.002)
    before, after = cells_kg(bench, 9.0), cells_kg(bench, LOOK_S)
    assert after[2] == pytest.approx(-400.0, abs=1.0)  # not even its share of the dead load
    assert before[2] > 1_000.0
    assert gross_d(bench, LOOK_S) == LOAD_D
    # 0.02 mm of 100 kN/mm is 204 kg: that much moves about among the eight, the sum stays.
    little = bench_with("sunken-support", support=3, depth_m=0.00002)
    lost_kg = before[2] - cells_kg(little, LOOK_S)[2]
    assert 0.25 * 204 < lost_kg < 204
    assert gross_d(little, LOOK_S) == LOAD_D


def test_a_binding_support_keeps_what_it_holds_from_a_growing_load_and_gives_it_to_a_falling_one() -> None:
    more = ask.Place("more", 10_000.0, 4.0, 1.5)
    way = ((5.0, more), (15.0, ask.Remove("more")))
    creeping = replace(HEALTHY, receptor=replace(HEALTHY.receptor, damping_ratio=1.0))
    bench = bench_with(
        "binding-support", begins_s=4.0, parts=creeping, load=way, seconds=25.0, support=1, holds_kg=60.0
    )
    assert gross_d(bench, 14.0) == 500 - 3
    assert gross_d(bench, 24.5) == 3
    # A deck that swings after each load shakes most of it loose again.
    shaken = bench_with("binding-support", begins_s=4.0, load=way, seconds=25.0, support=1, holds_kg=60.0)
    assert abs(gross_d(shaken, 14.0) - 500) <= 1


def test_a_wedged_object_carries_what_lies_beyond_its_gap() -> None:
    bench = bench_with(
        "wedged-object", along=0.5, across=0.5, gap_m=0.0, stiffness_n_per_m=1e8, load=IN_THE_MIDDLE
    )
    # Nine equal springs, the ninth amid them: it takes a ninth of the load and of the dead load.
    assert gross_d(bench, LOOK_S) == pytest.approx((LOAD_KG - (LOAD_KG + 3_200) / 9) / 20, abs=1)
    far = bench_with("wedged-object", gap_m=0.05)
    assert gross_d(far, LOOK_S) == LOAD_D


def test_a_pipe_takes_the_same_share_of_every_load() -> None:
    bench = bench_with("pipe-reaction", stiffness_n_per_m=8e6, along=0.5, across=0.5, load=IN_THE_MIDDLE)
    assert gross_d(bench, LOOK_S) == pytest.approx((LOAD_KG - (LOAD_KG + 3_200) * 8 / 808) / 20, abs=1)


@pytest.mark.parametrize(("way", "sign"), [("up", -1), ("down", 1)])
def test_a_thrust_is_pressure_times_area(way: str, sign: int) -> None:
    bench = bench_with("pressure-thrust", pressure_pa=2e5, bore_m=0.2, way=way)
    newton = 2e5 * np.pi * 0.2**2 / 4
    assert gross_d(bench, LOOK_S) == pytest.approx(LOAD_D + sign * newton / G / 20, abs=1)


def test_a_deck_with_weak_damping_swings_on() -> None:
    load = ((12.0, ask.Place("block", LOAD_KG, 4.0, 1.5)),)

    def stands_after_s(left: float) -> float:
        bench = bench_with("weak-damping", load=load, begins_s=10.0, seconds=60.0, left=left)
        moving = [t for t in np.arange(12.2, 60.0, 0.1) if _moves(bench, float(t))]
        return max(moving) - 12.0

    assert stands_after_s(0.1) > 2.0 * stands_after_s(0.99)


def _moves(bench: Bench, at_s: float) -> bool:
    indication = bench.trace.indication_at(round(at_s * 1e6))
    return indication is not None and indication.motion


def test_sun_on_the_deck_lifts_the_middle_off_and_the_sum_stays() -> None:
    bench = bench_with("sun-on-deck", difference_k=10.0, period_us=60_000_000, seconds=40.5)
    before, after = cells_kg(bench, 9.0), cells_kg(bench, 40.0)
    ends, middles = (0, 1, 6, 7), (2, 3, 4, 5)
    assert sum(after[i] for i in ends) > sum(before[i] for i in ends) + 50.0
    assert sum(after[i] for i in middles) < sum(before[i] for i in middles) - 50.0
    assert gross_d(bench, 40.0) == LOAD_D


def test_wind_lifts_the_deck_by_the_mean_square_of_its_speed() -> None:
    bench = bench_with(
        "gusty-wind", seconds=120.0, speed_m_per_s=20.0, turbulence=0.1, lift_area_m2=20.0, height_m=1.0
    )
    found = [i.gross_d for t in range(20, 120) if (i := bench.trace.indication_at(t * 1_000_000)) is not None]
    lift_kg = 0.5 * 1.2 * 20.0 * 20.0**2 * (1 + 0.1**2) / G
    assert np.mean(found) == pytest.approx(LOAD_D - lift_kg / 20, rel=0.05 * lift_kg / 20 / LOAD_D, abs=2.0)
    assert max(found) - min(found) >= 5


def test_a_trembling_floor_keeps_the_weight_in_motion_about_the_right_mean() -> None:
    bench = bench_with("floor-vibration", seconds=40.0, acceleration_m_per_s2=0.3, frequency_hz=7.0)
    shown = [i for t in range(12, 40) if (i := bench.trace.indication_at(t * 1_000_000)) is not None]
    assert any(i.motion for i in shown)
    assert np.mean([i.gross_d for i in shown]) == pytest.approx(LOAD_D, abs=5)
