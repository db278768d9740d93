"""Loads in turn to coefficients: exact without noise, honest with it, refused where it must be."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import cholesky, lstsq, solve_triangular
from scipy.optimize import least_squares

from benchsim.host.calibration_parts import Refusal, Settings
from benchsim.host.calibration_solve import Placement, Solution, solve
from tests.host.calibrated import SHEET, HandScale, bending, placements, settings, stiff_square

TRUE = (0.000501, 0.000498, 0.000505, 0.0004995)


def solution_of(loads: list[Placement], own: Settings) -> Solution:
    solution, refusal = solve(loads, own)
    assert refusal is None
    assert solution is not None
    return solution


def refusal_of(loads: list[Placement], own: Settings) -> Refusal:
    _, refusal = solve(loads, own)
    assert refusal is not None
    return refusal


@pytest.mark.parametrize("sheet", [(SHEET,) * 4, None], ids=["by data sheet", "cells unknown"])
def test_without_noise_the_coefficients_come_back_exactly(sheet: tuple[float, ...] | None) -> None:
    own = settings(sheet=sheet)
    found = solution_of(placements(HandScale(TRUE, bending(4)), own), own)
    assert found.kg_per_count == pytest.approx(TRUE, rel=1e-11)
    assert found.residual_kg == pytest.approx([0.0] * 5, abs=1e-8)
    assert (found.told, found.freedom) == (4, 1)


def test_an_example_worked_by_hand_comes_out() -> None:
    """Changes (2, 0), (0, 2), (1, 1) for 2, 4, 3.3 kg: normal equations 5a + b = 7.3, a + 5b = 11.3, so
    a = 1.05 and b = 2.05; residuals 0.1, 0.1, -0.2.  With variance s2 = 0.05^2 of each: chi2 = 24, one
    degree of freedom, u(a) = sqrt(s2 * 5/24 * 24) = 0.05 sqrt 5.  Source: Gauss's normal equations.
    """
    none = (0.0, 0.0)
    loads = [
        Placement(Decimal(mass), None, change, none, 0, none)
        for mass, change in (("2", (2.0, 0.0)), ("4", (0.0, 2.0)), ("3.3", (1.0, 1.0)))
    ]
    own = settings(cells=2, sheet=None)
    found = solution_of(loads, own)
    assert found.kg_per_count == pytest.approx((1.05, 2.05), rel=1e-12)
    assert found.residual_kg == pytest.approx((0.1, 0.1, -0.2), abs=1e-12)
    assert found.birge == pytest.approx(24**0.5, rel=1e-9)
    absolute = [e * k for e, k in zip(found.errors, found.kg_per_count, strict=True)]
    assert absolute == pytest.approx([0.05 * 5**0.5] * 2, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_scipy_finds_the_same_weighted_solution(seed: int) -> None:
    """Source: scipy.linalg.lstsq on whitened equations, and scipy.optimize.least_squares from elsewhere."""
    own = settings(sheet=None)
    loads = placements(HandScale(TRUE, bending(4), noise=900.0, seed=seed), own, rounds=2)
    loads = [replace(p, variances=tuple(v * (1 + i) for v in p.variances)) for i, p in enumerate(loads)]
    found = solution_of(loads, own)
    design, masses = np.array([p.change for p in loads]), np.array([float(p.load_kg) for p in loads])
    start = masses.sum() / np.abs(design).sum()
    own_kg2 = [sum(v * start**2 for v in p.variances) + 0.05**2 for p in loads]
    shared_kg2 = sum(v * start**2 for v in loads[0].zero_variances)
    zeros = np.array([p.zero for p in loads])
    covariance = np.diag(own_kg2) + shared_kg2 * (zeros[:, None] == zeros[None, :])
    root = cholesky(covariance, lower=True)
    white, wanted = (solve_triangular(root, x, lower=True) for x in (design, masses))
    assert found.kg_per_count == pytest.approx(lstsq(white, wanted)[0], rel=1e-9)

    def off(k: np.ndarray) -> np.ndarray:
        return np.asarray(white @ k - wanted)

    searched = least_squares(off, np.full(4, 0.001), x_scale=1e-4, xtol=1e-15)
    assert found.kg_per_count == pytest.approx(searched.x, rel=1e-6)


def test_with_noise_the_truth_lies_within_its_standard_errors() -> None:
    """Over 250 seeds: 99.73 % within 3 of a normal, and a mean square of 1 (its own error 1/sqrt(500))."""
    own = settings()
    off = []
    for seed in range(250):
        loads = placements(HandScale(TRUE, bending(4), noise=700.0, seed=seed), own, rounds=4)
        found = solution_of(loads, own)
        true = np.array(TRUE) / SHEET
        off.append((np.array(found.factors) - true) / np.array(found.errors))
    table = np.array(off)
    assert (np.abs(table) < 3.0).mean() > 0.99
    assert 0.75 < (table**2).mean() < 1.15  # the Birge ratio only ever widens


@given(order=st.permutations(range(10)), seed=st.integers(0, 50))
def test_the_order_of_the_loads_does_not_matter(order: list[int], seed: int) -> None:
    own = settings()
    loads = placements(HandScale(TRUE, bending(4), noise=200.0, seed=seed), own, rounds=2)
    there = solution_of(loads, own)
    back = solution_of([loads[i] for i in order], own)
    assert back.kg_per_count == pytest.approx(there.kg_per_count, rel=1e-10)
    assert back.errors == pytest.approx(there.errors, rel=1e-8)
    assert [back.residual_kg[i] for i in np.argsort(order)] == pytest.approx(there.residual_kg, abs=1e-7)


def test_a_stiff_deck_tells_three_combinations_and_the_data_sheet_the_rest() -> None:
    """Statics: shares on a stiff plate are affine in the place, so of rank 3; the rest changes no weight.

    Singular values with the load in the middle: sqrt(1 + 1/4), and 0.8 for each way of tilting.
    """
    own = settings()
    scale = HandScale(TRUE, stiff_square())
    found = solution_of(placements(scale, own), own)
    assert (found.told, found.freedom) == (3, 2)
    assert found.condition > 1e6
    assert found.condition_told == pytest.approx(1.25**0.5 / 0.8, rel=0.01)
    assert found.residual_kg == pytest.approx([0.0] * 5, abs=1e-6)
    assert found.sheet_kg < 1e-3
    # The combination that loads do not tell, (1, -1, -1, 1)/2, stays that of the data sheet.
    blind = np.array([1, -1, -1, 1]) / 2
    assert blind @ np.array(found.factors) == pytest.approx(0.0, abs=1e-4)
    assert found.sheet_errors == pytest.approx([0.5 * 0.0025 / 3**0.5] * 4, rel=0.02)


def test_without_data_sheets_a_stiff_deck_is_refused_by_its_condition_number() -> None:
    own = settings(sheet=None)
    found = refusal_of(placements(HandScale(TRUE, stiff_square()), own), own)
    assert found.found.startswith("condition number")
    assert "above 100" in found.found
    assert "cells 1, 2, 3 and 4 apart" in found.found
    assert "data-sheet" in found.right


def test_too_few_placements_are_refused() -> None:
    own = settings()
    loads = placements(HandScale(TRUE, bending(4)), own)[:3]
    assert refusal_of(loads, own).found == "3 placements for 4 coefficients"


def test_a_cell_that_never_takes_part_is_named() -> None:
    own = settings()
    shares = bending(4)
    shares[:, 2] = 0.0
    loads = placements(HandScale(TRUE, shares), own, middle=False)
    assert refusal_of(loads, own).found == "cell 3 never took part of any load"


def test_loads_that_nobody_answers_to_are_refused() -> None:
    own = settings(sheet=None)
    loads = [replace(p, change=(0.0,) * 4) for p in placements(HandScale(TRUE, bending(4)), own)]
    assert refusal_of(loads, own).found == "no cell answered to any load"


@pytest.mark.parametrize("shares", [bending(4), stiff_square()], ids=["bending", "stiff"])
def test_a_cell_that_falls_under_its_load_is_named(shares: np.ndarray) -> None:
    own = settings()
    true = (*TRUE[:2], -TRUE[2], TRUE[3])
    found = refusal_of(placements(HandScale(true, shares), own), own)
    assert found.found == "negative coefficient: the counts of cell 3 fall under a load over cell 3"
    assert "SIG or EXC pair" in found.right


def test_a_negative_coefficient_that_no_single_load_shows_is_refused() -> None:
    """Cell 2 rises by itself, but all fits only with less than nothing a count there."""
    none = (0.0, 0.0)
    masses = (("1000", (2_000_000.0, 0.0)), ("1000", (2_400_000.0, 400_000.0)))
    loads = [Placement(Decimal(mass), None, change, none, 0, none) for mass, change in masses]
    found = refusal_of(loads, settings(cells=2, sheet=None))
    assert found.found.startswith("negative coefficient: cell 2 at -0.0005 kg")


def test_a_cell_far_from_its_data_sheet_is_refused() -> None:
    own = settings()
    found = refusal_of(placements(HandScale((*TRUE[:3], 0.0007), bending(4)), own), own)
    assert found.found == "cell 4 at 1.4000 of the data sheet"


@pytest.mark.parametrize("wrong", range(5))
def test_something_that_lies_there_during_one_load_is_told_by_its_residual_and_its_place(wrong: int) -> None:
    """12 kg more in one of ten loads; two rounds, so that there is enough to tell which."""
    own = settings()
    loads = placements(HandScale(TRUE, stiff_square(), noise=20.0), own, rounds=2)
    there = np.array(loads[wrong].change) + 12.0 / 4 / np.array(TRUE)
    loads[wrong] = replace(loads[wrong], change=tuple(there))
    found = refusal_of(loads, own)
    where = "in the middle" if wrong == 4 else f"over cell {wrong + 1}"
    assert found.found.startswith("residual +")
    assert found.found.endswith(f"{where}, above the 1 kg that the rules allow")
    assert found.right.startswith(f"the load {where} fits least with the others")


@pytest.mark.parametrize("seed", range(12))
def test_the_load_that_fits_least_is_the_one_without_which_all_fit_best(seed: int) -> None:
    """Source: each load left out in turn, and the rest solved by scipy.linalg.lstsq: least chi squared."""
    own = settings(sheet=None)
    scale = HandScale(TRUE, bending(4), noise=300.0, seed=seed)
    loads = [*placements(scale, own), *placements(scale, own)[2:]]
    loads = [
        replace(p, zero=i, variances=tuple(v * (1 + seed * i % 7) for v in p.variances))
        for i, p in enumerate(loads)
    ]
    found = solution_of(loads, own)
    design, masses = np.array([p.change for p in loads]), np.array([float(p.load_kg) for p in loads])
    start = masses.sum() / np.abs(design).sum()
    kg2 = [sum(p.variances + p.zero_variances) * start**2 + 0.05**2 for p in loads]
    left = []
    for out in range(len(loads)):
        keep = np.arange(len(loads)) != out
        root = np.sqrt(np.array(kg2)[keep])
        white, wanted = design[keep] / root[:, None], masses[keep] / root
        left.append(np.linalg.norm(white @ lstsq(white, wanted)[0] - wanted))
    assert found.suspect == int(np.argmin(left))


def test_too_few_loads_to_tell_which_one_is_wrong_say_so() -> None:
    own = settings()
    loads = placements(HandScale(TRUE, bending(4)), own)
    loads[2] = replace(loads[2], load_kg=Decimal(990))
    assert "so few cannot tell which" in refusal_of(loads, own).right


def test_weights_that_hang_on_data_sheets_too_much_are_refused() -> None:
    """Between told and not: a combination that carries a little of each load, and nothing but data sheets."""
    own = settings(sheet_tolerance=0.2, condition_limit=5.0)
    shares = stiff_square() + 0.12 * np.outer([1, -1, -1, 1], [1, -1, -1, 1]) / 4
    loads = placements(HandScale((SHEET,) * 4, shares), own)
    found = refusal_of(loads, own)
    # The combination (1, -1, -1, 1)/2 carries 0.12 of 1 t over a cell, half of it on each of four cells whose
    # factors may all be off by 0.2 the worst way: 1000 * 0.12 * 0.5 * 4 * 0.5 * 0.2.
    assert found.found == "24 kg of a load may hang on what data sheets say"


@pytest.mark.parametrize("groups", [((0, 1), (2, 3)), ((3,), (0, 1, 2))])
def test_the_cells_of_a_section_share_one_factor(groups: tuple[tuple[int, ...], ...]) -> None:
    factor = [1.004, 0.997]
    true = [0.0] * 4
    for group, f in zip(groups, factor, strict=True):
        for cell in group:
            true[cell] = SHEET * f
    own = settings(groups=groups)
    found = solution_of(placements(HandScale(true, bending(4)), own), own)
    assert found.factors == pytest.approx(factor, rel=1e-10)
    assert found.kg_per_count == pytest.approx(true, rel=1e-10)
    assert len(found.notes) == 2
