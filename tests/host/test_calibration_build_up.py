"""Loads built up by substitution, and the error that they carry."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from benchsim.host.calibration_build_up import carried
from benchsim.host.calibration_parts import Kind
from benchsim.host.calibration_results import results_of
from benchsim.host.calibration_tasks import tasks_of
from tests.host.calibrated import HandScale, bending, settings, walked

TRUE = (0.000501, 0.000498, 0.000505, 0.0004995)
LADDER = settings(weights_kg=Decimal(1100), corner_kg=Decimal(1000))


def test_the_ladder_goes_up_to_max_by_weights_and_material_in_turn() -> None:
    steps = [
        (t.kind, int(t.load_kg), int(t.weights_kg), t.level)
        for t in tasks_of(LADDER)
        if t.kind in (Kind.LINEARITY, Kind.SUBSTITUTE)
    ]
    assert steps == [
        (Kind.LINEARITY, 500, 500, 0),
        (Kind.LINEARITY, 1100, 1100, 0),
        (Kind.SUBSTITUTE, 1100, 0, 1),
        (Kind.LINEARITY, 2200, 1100, 1),
        (Kind.SUBSTITUTE, 2200, 0, 2),
        (Kind.LINEARITY, 3000, 800, 2),
    ]


@pytest.mark.parametrize("material", [0.98, 1.0, 1.015])
def test_material_that_is_not_quite_the_weights_is_known_from_the_readings(material: float) -> None:
    """The true loads by arithmetic: material stands as it is, the weights on top of it."""
    found = results_of(walked(LADDER, HandScale(TRUE, bending(4), material=material)))
    true_kg = [500.0, 1100.0, 1100 * material + 1100, 2200 * material + 800]
    assert [row.load_kg for row in found.rows] == pytest.approx(true_kg, rel=1e-9)
    assert [row.error_kg for row in found.rows] == pytest.approx([0.0] * 4, abs=1e-6)
    assert [row.carried is not None for row in found.rows] == [False, False, True, True]


@pytest.mark.parametrize(("weights_error_kg", "reading_kg"), [(0.5, 0.02), (0.05, 0.3), (0.3, 0.15)])
def test_the_error_that_a_ladder_carries_is_that_of_many_ladders(
    weights_error_kg: float, reading_kg: float
) -> None:
    """Source: a Monte Carlo of the procedure (JCGM 101), 40 000 ladders of five substitutions."""
    dice, ladders, weights = np.random.default_rng(5), 40_000, 1000.0
    weights_are = weights + weights_error_kg * dice.uniform(-1.0, 1.0, ladders)
    known, true = np.full(ladders, weights), weights_are.copy()  # all weights on the deck
    for level in range(1, 6):
        with_weights = true + reading_kg * dice.standard_normal(ladders)
        material = true * dice.uniform(0.99, 1.01, ladders)
        known_material = known + (material + reading_kg * dice.standard_normal(ladders) - with_weights)
        known, true = known_material + weights, material + weights_are
        found = carried(level, 1.0, weights_error_kg, reading_kg)
        assert np.std(true - known) == pytest.approx(found.standard, rel=0.02)
        top = carried(level, 0.25, weights_error_kg, reading_kg)
        part = known_material + 250.0 - (material + weights_are / 4)
        assert np.std(part) == pytest.approx(top.standard, rel=0.02)


def test_weights_alone_carry_only_their_own_error() -> None:
    alone = carried(0, 1.0, 0.3, 5.0)
    assert alone.comparisons == 0.0
    assert alone.standard == pytest.approx(0.3 / 3**0.5)
    assert alone.expanded == 2.0 * alone.standard


def test_a_load_too_uncertain_for_its_tolerance_is_told() -> None:
    """M3 weights of 20 kg may be wrong by 10 g each: 3 t of such are uncertain by 1.7 kg (k = 2)."""
    own = settings(weights_kg=Decimal(1100), weight_class="M3")
    found = results_of(walked(own, HandScale(TRUE, bending(4))))
    assert any("the load of 3000 kg is itself uncertain by 1.7" in note for note in found.notes)


@pytest.mark.parametrize("points", [(), (Decimal(400), Decimal(1000))])
def test_nothing_is_built_up_where_nothing_above_the_weights_is_asked(points: tuple[Decimal, ...]) -> None:
    own = settings(weights_kg=Decimal(1100), points_kg=points)
    assert Kind.SUBSTITUTE not in {task.kind for task in tasks_of(own)}
