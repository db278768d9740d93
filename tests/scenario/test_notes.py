"""Notes of what was done at a scale: what stood when, what is due to each cell, and what nobody can know."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove, StartFault
from benchsim.scenario.notes import case_of, notes_of
from tests.bench.plans import plan

S = 1_000_000


def test_a_load_in_the_middle_is_due_to_all_cells_alike_while_it_stands() -> None:
    notes = notes_of(plan((5.0, Place("a", 1000.0, 4.0, 1.5)), (15.0, Remove("a")), seconds=20.0, cells=4))
    assert [(n.from_us, n.until_us) for n in notes] == [(0, 5 * S), (5 * S, 15 * S), (15 * S, 20 * S)]
    assert [n.empty for n in notes] == [True, False, True]
    assert notes[1].cells_kg == pytest.approx((250.0,) * 4)


def test_a_load_that_is_moved_is_due_elsewhere_and_in_sum_the_same() -> None:
    made = plan((1.0, Place("a", 800.0, 3.0, 1.5)), (5.0, Move("a", 4.0, 1.5)), seconds=9.0, cells=4)
    before, after = (n.cells_kg for n in notes_of(made)[1:])
    assert before is not None
    assert after is not None
    assert sum(before) == pytest.approx(800.0)
    assert sum(after) == pytest.approx(800.0)
    assert after != pytest.approx(before)


def test_a_vehicle_is_an_unknown_load_until_it_has_left() -> None:
    truck = Drive("t", (Axle(9000.0, 0.0), Axle(9000.0, 3.0)), 2.0, 5.0, 1.5, 10 * S)
    notes = notes_of(plan((5.0, truck), seconds=120.0, cells=4))
    assert [n.cells_kg is None for n in notes] == [False, True, False]
    assert notes[-1].empty
    assert 20 * S < notes[-1].from_us < 60 * S


def test_what_would_lift_the_deck_off_a_cell_is_not_known() -> None:
    """Statics of a square deck: over one corner, the corner across carries minus a quarter."""
    assert notes_of(plan((1.0, Place("a", 1000.0, 1.0, 0.3)), seconds=5.0, cells=4))[1].cells_kg is not None
    assert notes_of(plan((1.0, Place("a", 9000.0, 1.0, 0.3)), seconds=5.0, cells=4))[1].cells_kg is None


def test_no_fault_is_noted() -> None:
    made = plan((2.0, StartFault("x", "dead-cell", 1)), (3.0, Place("a", 400.0, 3.0, 1.5)), seconds=9.0)
    healthy = plan((3.0, Place("a", 400.0, 3.0, 1.5)), seconds=9.0)
    assert case_of(made) == case_of(healthy)


def test_a_span_cuts_the_notes_that_it_lies_across() -> None:
    made = plan((5.0, Place("a", 1000.0, 3.0, 1.5)), seconds=20.0, cells=4)
    assert [(n.from_us, n.until_us) for n in case_of(made, 2 * S, 12 * S).notes] == [
        (2 * S, 5 * S),
        (5 * S, 12 * S),
    ]
