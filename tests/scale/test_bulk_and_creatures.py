"""Bulk, people and animals: momentum of what falls, the harmonics of a step, and the same however read."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsim.ground.commands import (
    Axle,
    Discharge,
    Drive,
    Fill,
    Move,
    Place,
    Remove,
    Roam,
    SiteCommand,
    Walk,
)
from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.scale.bulk import Bulk
from benchsim.scale.creatures import Animal, Walker
from benchsim.scale.vehicle import Vehicle
from tests.scale.made import S, output_mv_per_v, parts, scale

G = 9.80665
Floats = NDArray[np.float64]
FILL = Fill("grain", 2_000.0, 50.0, 4.0, 1.5, fall_m=1.2, dribble_kg=100.0, dribble_rate_kg_per_s=5.0)
FALLS_S = math.sqrt(2.0 * 1.2 / G)


def sums_of(
    load: Bulk | Walker | Animal | Vehicle, t_us: NDArray[np.int64], pressing: bool
) -> tuple[Floats, Floats, Floats]:
    sums = np.zeros(len(t_us)), np.zeros(len(t_us)), np.zeros(len(t_us))
    (load.press_on if pressing else load.add_to)(sums, t_us)
    return sums


def seconds(*values: float) -> NDArray[np.int64]:
    return np.array([round(v * S) for v in values], np.int64)


def test_a_hopper_fills_at_its_rate_and_dribbles_at_the_end() -> None:
    """1900 kg at 50 kg/s, then 100 kg at 5 kg/s; all of it a fall later."""
    heap = Bulk.begun(FILL, 0)
    at = seconds(FALLS_S / 2, FALLS_S + 10.0, FALLS_S + 38.0, FALLS_S + 48.0, FALLS_S + 58.1)
    assert sums_of(heap, at, pressing=False)[0] == pytest.approx(
        [0.0, 500.0, 1_900.0, 1_950.0, 2_000.0], abs=1e-3
    )
    assert heap.mass_kg == pytest.approx(2_000.0)


def test_a_falling_stream_pushes_with_just_what_it_has_in_the_air() -> None:
    """Momentum: push = rate x speed; speed = g x time of fall: what is released less what shows is 0 while it
    runs evenly, so the weight at the closing of the gate is what there will be."""
    heap = Bulk.begun(FILL, 0)
    for t_s in (5.0, 20.0, 37.9):
        shown = float(sums_of(heap, seconds(t_s), pressing=True)[0][0])
        assert shown == pytest.approx(50.0 * t_s, abs=1e-3)
    lone = Bulk.begun(Fill("sand", 300.0, 30.0, 4.0, 1.5, fall_m=5.0), 0)
    at_closing = float(sums_of(lone, seconds(9.999999), pressing=True)[0][0])
    assert at_closing == pytest.approx(300.0, abs=1e-3)
    falls_s = math.sqrt(10.0 / G)
    assert float(sums_of(lone, seconds(9.999999), pressing=False)[0][0]) == pytest.approx(
        300.0 - 30.0 * falls_s, abs=0.01
    )


def test_the_impulse_of_a_stream_is_its_momentum() -> None:
    """The push over the whole fill is mass x speed of the fall."""
    heap = Bulk.begun(FILL, 0)
    t_us = np.arange(0, 62 * S, 1_000)
    push = sums_of(heap, t_us, pressing=True)[0] - sums_of(heap, t_us, pressing=False)[0]
    assert float(push.sum()) * 1e-3 * G == pytest.approx(2_000.0 * G * FALLS_S, rel=1e-3)


def test_it_is_discharged_again_in_part_and_whole() -> None:
    made = scale(parts(dead_load_kg=4_000.0))
    made.do(FILL, 0)
    made.do(Discharge("grain", 100.0, 500.0), 70 * S)
    made.do(Fill("grain", 250.0, 50.0, 0.0, 0.0), 80 * S)
    made.do(Discharge("grain", 200.0), 90 * S)
    assert made.true_kg(seconds(69.0, 72.5, 79.0, 89.0, 94.0, 99.0)) == pytest.approx(
        [2_000.0, 1_750.0, 1_500.0, 1_750.0, 950.0, 0.0], abs=1e-6
    )
    found = output_mv_per_v(made.read(0, 110 * S)).sum(axis=1) / 2.0 * 30_000.0 - 4_000.0
    assert found[[69 * 80, 79 * 80, 89 * 80, -1]] == pytest.approx([2_000.0, 1_500.0, 1_750.0, 0.0], abs=0.01)


@pytest.mark.parametrize(
    ("commands", "error"),
    [
        ([FILL, Discharge("grain", 10.0)], "'grain' is still filled or emptied"),
        ([Fill("grain", 0.0, 1.0, 1.0, 1.0)], "bulk 'grain': mass is 0 kg; above 0"),
        ([Fill("grain", 10.0, 1.0, 1.0, 1.0, dribble_kg=11.0)], "dribble is 11 kg; 0 to 10 kg"),
        ([Fill("grain", 10.0, 1.0, 1.0, 1.0, dribble_kg=1.0)], "dribble rate is 0 kg/s; above 0"),
        ([Fill("grain", 10.0, 1.0, 9.0, 1.0)], "is off the receptor"),
        ([Place("grain", 1.0, 1.0, 1.0), FILL], "'grain' is a load that was put down; another name"),
        ([FILL, Move("grain", 1.0, 1.0)], "is bulk material: it is filled and discharged; only a load that"),
        ([Place("box", 1.0, 1.0, 1.0), Discharge("box", 1.0)], "only what was filled is discharged"),
        ([Discharge("grain", 1.0)], "no load 'grain' is on the receptor"),
        ([Walk("guard", 80.0, 5.0)], "is off the receptor"),
        ([Walk("guard", 80.0, 1.0, pace_hz=50.0)], "pace is 50 steps a second; 0.1 to 10"),
        ([Roam("cow", 600.0, 4.0, 1.0, restless=2.0)], "restless is 2 of its weight; 0 to 1"),
        (
            [Roam("cow", 600.0, 4.0, 1.0), Roam("cow", 600.0, 4.0, 1.0)],
            "a load 'cow' is on the receptor already",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_be_right(commands: list[SiteCommand], error: str) -> None:
    made = scale(parts())
    for command in commands[:-1]:
        made.do(command, S)
    before = made.loads
    with pytest.raises(BadInput) as told:
        made.do(commands[-1], S)
    assert error in str(told.value)
    assert made.loads == before


def test_a_bulk_that_holds_less_says_so() -> None:
    made = scale(parts())
    made.do(Fill("grain", 10.0, 10.0, 4.0, 1.5), 0)
    with pytest.raises(BadInput, match="'grain' holds 10 kg, 11 kg are to leave"):
        made.do(Discharge("grain", 5.0, 11.0), 5 * S)


def test_steps_have_the_harmonics_of_walking_and_the_walker_s_weight_in_the_mean() -> None:
    """Bachmann and Ammann (1987), from memory: 0.4, 0.1, 0.1 of the weight at 1, 2, 3 times the pace."""
    walker = Walker.arrive(Walk("guard", 80.0, 1.0, 0.1, pace_hz=2.0), 8.0, 0)
    t_us = 1 + np.arange(0, 40 * S, 6_250)  # 80 whole steps
    found = np.fft.rfft(sums_of(walker, t_us, pressing=True)[0]) / len(t_us)
    assert found[0].real == pytest.approx(80.0, abs=1e-3)
    sizes = 2.0 * np.abs(found[[80, 160, 240]]) / 80.0
    assert sizes == pytest.approx([0.4, 0.1, 0.1], abs=1e-3)
    assert np.angle(found[80]) == pytest.approx(-math.pi / 2, abs=0.01)
    # sin(2 w t - pi / 2) is minus a cosine.
    assert (found[160] / abs(found[160])).real == pytest.approx(-1.0, abs=0.01)


def test_somebody_walks_over_the_deck_and_is_gone() -> None:
    made = scale(parts(dead_load_kg=4_000.0))
    made.do(Walk("guard", 90.0, 0.75, 1.6), S)
    found = made.true_kg(seconds(0.9, 1.1, 5.9, 6.1))
    assert found.tolist() == [0.0, 90.0, 90.0, 0.0]
    near, far = made.true_cells_kg(seconds(1.5, 5.5))
    assert near[:2].sum() == pytest.approx(90.0 * 0.9, abs=0.1)
    assert far[2:].sum() == pytest.approx(90.0 * 0.9, abs=0.1)
    made.read(0, 10 * S)
    assert made.loads == ()


def test_an_animal_keeps_its_mass_stays_on_the_deck_and_will_not_stand_still() -> None:
    animal = Animal.arrive(Roam("cow", 600.0, 4.0, 1.5, 1.0, 0.06), parts().receptor, Streams(7), 0)
    t_us = np.arange(1, 3_000 * S, 50_000)
    mass, x, y = sums_of(animal, t_us, pressing=False)
    assert (mass == 600.0).all()
    assert 0.0 <= (x / 600.0).min() < 3.5 < 4.5 < (x / 600.0).max() <= 8.0
    assert 0.0 <= (y / 600.0).min() < 1.0 < 2.0 < (y / 600.0).max() <= 3.0
    pressed = sums_of(animal, t_us, pressing=True)[0]
    assert pressed.mean() == pytest.approx(600.0, rel=0.01)
    assert pressed.std() == pytest.approx(36.0, rel=0.1)


BUMPY = Drive(
    "lorry", (Axle(5_000.0, 0.0), Axle(8_000.0, 3.5)), 3.0, 7.0, 1.4, 2 * S, 0.9, 1.9, 0.15, 1.3, 0.02
)


@pytest.mark.parametrize(
    "load",
    [
        Bulk.begun(FILL, 3 * S),
        Walker.arrive(Walk("guard", 80.0, 2.0), 8.0, 3 * S),
        Animal.arrive(Roam("cow", 600.0, 3.0, 1.0), parts().receptor, Streams(1), 3 * S),
        Vehicle.arrive(BUMPY, 8.0, 3 * S),
    ],
    ids=["bulk", "walker", "animal", "vehicle"],
)
def test_what_comes_on_at_once_is_told_as_the_jump_that_it_is(load: Bulk | Walker | Animal | Vehicle) -> None:
    """Every jump of what presses from one microsecond to the next, and no other."""
    steps = load.steps(0, 100 * S)
    assert steps
    for t_us in {step[0] for step in steps}:
        at_once = [(m, m * x_m, m * y_m) for when_us, m, x_m, y_m in steps if when_us == t_us]
        before, after = (sums_of(load, np.array([t_us + late]), pressing=True) for late in (0, 1))
        jump = [float(b[0] - a[0]) for a, b in zip(before, after, strict=True)]
        assert jump == pytest.approx([math.fsum(column) for column in zip(*at_once, strict=True)], abs=0.05)
    found = np.abs(np.diff(sums_of(load, np.arange(0, 60 * S, 1_000), pressing=True)[0]))
    assert {int(n) for n in np.flatnonzero(found > 30.0)} <= {step[0] // 1_000 for step in steps}


LIVELY: list[tuple[int, SiteCommand]] = [
    (0, FILL),
    (1 * S, Roam("cow", 600.0, 3.0, 1.0)),
    (3 * S, Walk("guard", 80.0, 2.0)),
    (
        5 * S,
        Drive(
            "lorry",
            (Axle(5_000.0, 0.0), Axle(8_000.0, 3.5)),
            3.0,
            7.0,
            1.4,
            2 * S,
            0.9,
            1.9,
            0.15,
            1.3,
            0.004,
        ),
    ),
    (11 * S, Remove("cow")),
    (13 * S, Remove("grain")),
]


@pytest.mark.parametrize("step_us", [12_500, 333_331, 4_000_000])
def test_whatever_moves_by_itself_gives_the_same_bytes_however_read(step_us: int) -> None:
    def played(step: int) -> bytes:
        running, blocks, waiting = scale(parts(dead_load_kg=5_000.0)), [], list(LIVELY)
        for t_us in [*range(step, 16 * S, step), 16 * S]:
            while waiting and waiting[0][0] < t_us:
                at_us, command = waiting.pop(0)
                running.do(command, at_us)
            blocks.append(running.read(0, t_us).counts)
        return (
            np.concatenate(blocks).tobytes() + running.true_cells_kg(np.arange(0, 16 * S, 70_001)).tobytes()
        )

    assert played(step_us) == played(16 * S)
