"""Livelier loads of a timeline: what they become, and what is refused before the run, with its place."""

from __future__ import annotations

import pytest

from benchsim.ground import commands as ask
from benchsim.scale.designs import DESIGNS
from tests.scenario.test_published import PAGE
from tests.scenario.test_timeline import T, commands
from tests.scenario.texts import built, told

S = 1_000_000


def test_a_vehicle_of_the_library_brings_axles_springs_and_height() -> None:
    [(_, drive)] = commands("{at: 5 s, drive: d, kind: tipper, load: 10 t, edge: 3 mm, stands: 5 s}")
    own = DESIGNS["tipper"]
    assert isinstance(drive, ask.Drive)
    assert drive.axles == own.axles_with(10_000.0)
    assert (drive.springs_hz, drive.springs_damping, drive.edge_step_m) == (2.4, 0.12, 0.003)
    assert drive.centre_height_m == pytest.approx((12_200 * 1.05 + 10_000 * 1.9) / 22_200)
    [(_, own_figures)] = commands(
        "{at: 5 s, drive: d, kind: car, springs: 0 Hz, centre height: 0 m, stands: 5 s}"
    )
    assert isinstance(own_figures, ask.Drive)
    assert (own_figures.springs_hz, own_figures.centre_height_m) == (0.0, 0.0)


def test_axles_alone_are_stiff_as_they_were() -> None:
    [(_, drive)] = commands("{at: 5 s, drive: d, axles: [{mass: 7 t}], stands: 5 s}")
    assert isinstance(drive, ask.Drive)
    assert (drive.springs_hz, drive.centre_height_m, drive.edge_step_m, drive.begins_m) == (
        0.0,
        0.0,
        0.0,
        None,
    )


def test_people_animals_and_bulk_come_and_go() -> None:
    assert commands(
        "{at: 1 s, walk: guard, mass: 85 kg, speed: 3.6 km/h, lane: 1 m}",
        "{at: 2 s, roam: cow, mass: 600 kg, position: over cell 2, restless: 8 %}",
        "{at: 3 s, fill: grain, mass: 2 t, rate: 144 t/h, falls: 1.2 m,"
        " dribble: 0.1 t, dribble rate: 300 kg/min}",
        "{at: 90 s, fill: grain, mass: 20 kg, rate: 2 kg/s}",
        "{at: 120 s, discharge: grain, rate: 50 kg/s, mass: 500 kg}",
        "{at: 150 s, discharge: grain, rate: 50 kg/s}",
        "{at: 200 s, remove: grain}",
        "{at: 200 s, remove: cow}",
    ) == [
        (1 * S, ask.Walk("guard", 85.0, 1.0, 1.0, 1.9)),
        (2 * S, ask.Roam("cow", 600.0, 0.15, 2.85, 0.4, 0.08)),
        (3 * S, ask.Fill("grain", 2_000.0, 40.0, 9.0, 1.5, 1.2, 100.0, 5.0)),
        (90 * S, ask.Fill("grain", 20.0, 2.0, 9.0, 1.5)),
        (120 * S, ask.Discharge("grain", 50.0, 500.0)),
        (150 * S, ask.Discharge("grain", 50.0)),
        (200 * S, ask.Remove("grain")),
        (200 * S, ask.Remove("cow")),
    ]


@pytest.mark.parametrize(
    ("over", "spots"),
    [
        ("quarters", [(4.5, 0.75), (4.5, 2.25), (13.5, 2.25), (13.5, 0.75)]),
        ("sections", [(0.15, 1.5), (9.0, 1.5), (17.85, 1.5)]),
        ("cells", [(0.15, 0.15), (0.15, 2.85), (9.0, 0.15), (9.0, 2.85), (17.85, 0.15), (17.85, 2.85)]),
        ("[centred, [2 m, 1 m], over cell 1]", [(9.0, 1.5), (2.0, 1.0), (0.15, 0.15)]),
    ],
)
def test_a_shift_test_puts_the_weight_on_place_after_place_and_takes_it_off(
    over: str, spots: list[tuple[float, float]]
) -> None:
    found = commands(f"{{at: 10 s, shift test: block, mass: 5 t, over: {over}, each: 8 s}}")
    assert [t for t, _ in found] == [(10 + 8 * n) * S for n in range(len(spots) + 1)]
    assert found[0][1] == ask.Place("block", 5_000.0, *spots[0])
    assert [c for _, c in found[1:-1]] == [ask.Move("block", *spot) for spot in spots[1:]]
    assert found[-1][1] == ask.Remove("block")


def test_the_run_lasts_until_all_has_run_on_and_left() -> None:
    lasts = built(T + "  - {at: 5 s, fill: sand, mass: 3 t, rate: 50 kg/s}\n").plan.lasts_us
    assert lasts >= 65 * S
    assert built(T + "  - {at: 5 s, shift test: b, mass: 1 t, each: 20 s}\n").plan.lasts_us >= 125 * S
    assert built(T + "  - {at: 5 s, walk: p, speed: 1 m/s}\n").plan.lasts_us >= 23 * S


def test_one_vehicle_over_two_decks_is_told_in_both_files_alike() -> None:
    words = (
        "{at: 5 s, drive: d, kind: lorry with trailer, load: 20 t, stop: 24 m, stands: 9 s, deck begins: %s}"
    )
    [(_, first)], [(_, second)] = commands(words % "0 m"), commands(words % "18.4 m")
    assert isinstance(first, ask.Drive)
    assert isinstance(second, ask.Drive)
    assert (first.begins_m, second.begins_m) == (0.0, 18.4)
    assert first.axles == second.axles
    assert first.stop_x_m == second.stop_x_m == 24.0


@pytest.mark.parametrize(
    ("items", "error"),
    [
        (["{at: 1 s, drive: d, kind: lory}"], "21: unknown vehicle 'lory'; did you mean 'lorry'"),
        (["{at: 1 s, drive: d, kind: car, load: 5 t}"], "43: a car with 5000 kg; at most 450 kg"),
        (["{at: 1 s, drive: d}"], "22: a vehicle without axles or kind; add kind: lorry, or its axles"),
        (
            ["{at: 1 s, drive: d, kind: car, axles: [{mass: 1 t}]}"],
            "25: kind beside axles; keep kind and load",
        ),
        (["{at: 1 s, drive: d, kind: car, deck begins: 9 m}"], "36: deck begins without stop; say where"),
        (["{at: 1 s, walk: p, lane: 9 m}"], "30: lane: 9 m lies outside the receptor; from 0 m to 3 m"),
        (["{at: 1 s, walk: p, pace: 0 Hz}"], "30: pace: 0 Hz is too small; at least 0.1 Hz"),
        (
            ["{at: 1 s, fill: g, mass: 1 t, rate: 5}"],
            "41: rate: '5' has no unit; write a mass rate, as '5 kg/s'",
        ),
        (["{at: 1 s, fill: g, mass: 1 t, rate: 5 kg}"], "41: rate: '5 kg' is a mass, not a mass rate"),
        (
            ["{at: 1 s, fill: g, mass: 1 kg, rate: 5 kg/s, dribble: 2 kg, dribble rate: 1 kg/s}"],
            "59: dribble: 2 kg of 1 kg",
        ),
        (["{at: 1 s, fill: g, mass: 9 kg, rate: 5 kg/s, dribble: 2 kg}"], "50: dribble without dribble rate"),
        (["{at: 1 s, discharge: g, rate: 5 kg/s}"], "26: unknown load 'g'; none is on the receptor"),
        (
            ["{at: 1 s, place: 1 t, name: b}", "{at: 2 s, discharge: b, rate: 5 kg/s}"],
            "26: 'b' was not filled; only bulk material is discharged",
        ),
        (
            ["{at: 1 s, place: 1 t, name: b}", "{at: 2 s, fill: b, mass: 1 t, rate: 5 kg/s}"],
            "21: a load named 'b' is on",
        ),
        (["{at: 1 s, roam: c, mass: 1 t, position: [30 m, 1 m]}"], "45: 30 m, 1 m lies outside the receptor"),
        (
            ["{at: 1 s, shift test: b, mass: 1 t, over: [[30 m, 1 m]]}"],
            "48: 30 m, 1 m lies outside the receptor",
        ),
        (["{at: 1 s, shift test: b, mass: 1 t, over: corners}"], "47: "),
    ],
)
def test_what_cannot_be_is_told_before_the_run(items: list[str], error: str) -> None:
    text = T + "".join(f"  - {item}\n" for item in items)
    lines = told(text)
    line, column = 5 + len(items), error.split(":", 1)[0]
    assert lines[0].startswith(f"s.yaml:{line}:{column}: ") or error.split(": ", 1)[1] in lines[0], lines
    assert any(error.split(": ", 1)[1] in found for found in lines), lines


def test_the_page_names_every_vehicle_of_the_library() -> None:
    assert {name for name in DESIGNS if f"`{name}`" not in PAGE} == set()
