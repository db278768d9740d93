"""Cells through the whole run of OIML R 60: typical ones of every class pass, spoiled ones fail a clause."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchsim.ground.randomness import Streams
from benchsim.scale.parts import Cell
from benchsim.scale.sheet import Sheet, typical
from tests.standards.r60_run import Claim, Outcome, run

E_MAX_KG = 30_000.0
C3000 = Claim("C", 3_000, 12_000.0)
GOOD = typical(Sheet(E_MAX_KG, "C", 3_000, v_min_kg=E_MAX_KG / 12_000))
V = 1.0 / 3_000  # of E_max


def failed(cell: Cell, claim: Claim = C3000, seed: int = 1) -> list[Outcome]:
    return [o for o in run(cell, claim, Streams(seed).noise("r60")) if not o.held]


@pytest.mark.parametrize("number", range(4))
@pytest.mark.parametrize(
    ("name", "intervals", "ratio"),
    [("A", 50_000, 1.0), ("B", 5_000, 2.0), ("B", 100_000, 1.0), ("C", 500, 4.0), ("C", 3_000, 4.0),
     ("C", 10_000, 2.0), ("D", 100, 3.0), ("D", 1_000, 1.0)],
)  # fmt: skip
def test_a_typical_cell_of_any_class_passes_its_class(
    name: str, intervals: int, ratio: float, number: int
) -> None:
    y = intervals * ratio
    cell = typical(
        Sheet(E_MAX_KG, name, intervals, v_min_kg=E_MAX_KG / y, return_kg=0.3 * E_MAX_KG / intervals), number
    )
    assert not failed(cell, Claim(name, intervals, y))


def test_the_run_covers_every_clause_at_every_temperature() -> None:
    outcomes = run(GOOD, C3000, Streams(1).noise("r60"))
    clauses = [o.clause for o in outcomes]
    assert {c: clauses.count(c) for c in set(clauses)} == {
        "5.3.2": 8, "5.4": 8, "5.5.1": 2, "5.5.2": 1, "5.6.1.3": 3,
    }  # fmt: skip
    assert all(o.found_v > 0.0 for o in outcomes)


def test_a_typical_cell_is_no_ideal_one() -> None:
    """It takes a fifth of each limit somewhere; of the spread of runs, where chance rules, a tenth."""
    worst: dict[str, float] = {}
    for outcome in run(GOOD, C3000, Streams(1).noise("r60")):
        worst[outcome.clause] = max(worst.get(outcome.clause, 0.0), outcome.found_v / outcome.limit_v)
    assert worst.pop("5.4") > 0.1
    assert all(share > 0.2 for share in worst.values())


def test_a_declared_return_is_kept_whatever_the_cell_creeps() -> None:
    """DR = E_max / (2 Z), R 60-1 3.5.14; Z = 10 000 at n = 3 000 is 0.15 v."""
    for number in range(4):
        declared = Sheet(E_MAX_KG, "C", 3_000, return_kg=E_MAX_KG / 20_000)
        outcomes = run(typical(declared, number), C3000, Streams(1).noise("r60"))
        (found,) = (o.found_v for o in outcomes if o.clause == "5.5.2")
        assert 0.05 < found <= 0.15


SPOILED = [
    ("nonlinearity", {"nonlinearity": 2.2 * V}, {"5.3.2"}),
    ("hysteresis", {"hysteresis": 1.3 * V}, {"5.3.2"}),
    ("repeatability", {"repeatability": 0.9 * V}, {"5.4"}),
    ("creep", {"creep": ((1.2 * V, 1_500.0),), "recovery": 0.2}, {"5.5.1"}),
    ("return", {"recovery": 2.4}, {"5.5.2"}),
    ("temperature on zero", {"zero_effect_per_k": 0.7 / 12_000 / 5.0 * 1.5}, {"5.6.1.3"}),
    ("temperature on span", {"span_effect_per_k": 1.5 * V / 30.0}, {"5.3.2"}),
]


@pytest.mark.parametrize(("figures", "clauses"), [s[1:] for s in SPOILED], ids=[s[0] for s in SPOILED])
def test_a_cell_spoiled_in_one_way_fails_its_clause_and_no_other(
    figures: dict[str, object], clauses: set[str]
) -> None:
    assert {o.clause for o in failed(replace(GOOD, **figures))} == clauses  # type: ignore[arg-type]


def whats(figures: dict[str, object]) -> str:
    return "; ".join(o.what for o in failed(replace(GOOD, **figures)))  # type: ignore[arg-type]


def test_the_envelope_tells_bend_loop_and_span_apart() -> None:
    """A bend shows going up at 20 C, a loop on the way down alone, a span effect away from 20 C alone."""
    assert "test 1, 20 C: error on the way up" in whats({"nonlinearity": 2.2 * V})
    loop = whats({"hysteresis": 1.3 * V})
    assert "test 1, 20 C: error on the way down" in loop
    assert "on the way up" not in loop
    span = whats({"span_effect_per_k": 1.5 * V / 30.0})
    assert "-10 C" in span
    assert "20 C" not in span
