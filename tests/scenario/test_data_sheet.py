"""A scenario's cells from a data sheet in the terms of OIML R 60, and data sheets that cannot be."""

from __future__ import annotations

import math

import pytest

from tests.scenario.texts import HEAD, built, told

SHEET = "capacity: 1.5 t, accuracy class: C, intervals: 3000"


def test_a_data_sheet_makes_cells_of_its_class_and_a_given_figure_wins() -> None:
    """v_min = E_max / Y; half of p_LC v_min per 5 K (R 60-1 5.6.1.3) is typical for cell 1, times 0.8."""
    cells = built(
        HEAD + f"cells: {{{SHEET}, y: 12000, hysteresis: 0.5 %, each: [{{cell: 2, intervals: 1000}}]}}\n"
    ).plan.scale.cells
    assert cells[0].zero_effect_per_k == pytest.approx(0.5 * 0.8 * 0.7 / 12_000 / 5.0)
    assert [c.hysteresis for c in cells] == [0.005] * 4
    assert 0.0 < abs(cells[0].nonlinearity) < 0.7 * 1.5 / 3000 < 0.7 * 1.0 / 1000
    assert cells[1].repeatability == pytest.approx(cells[0].repeatability * 3.0 / 1.5)
    assert len({c.nonlinearity for c in cells}) == 4


def test_the_same_data_sheet_can_be_written_in_ratios() -> None:
    as_masses = built(HEAD + f"cells: {{{SHEET}, v min: 125 g, dead load return: 150 g}}\n").plan.scale
    as_ratios = built(HEAD + f"cells: {{{SHEET}, y: 12000, z: 5000}}\n").plan.scale
    assert as_masses.cells == as_ratios.cells
    assert as_ratios.cells != built(HEAD + f"cells: {{{SHEET}}}\n").plan.scale.cells


def test_a_declared_return_holds_for_a_creep_that_is_given_beside_it() -> None:
    """DR = E_max / (2 Z); half of it is left a minute after 30 min of E_max, whatever the cell creeps."""
    for creep in ("creep after 30 min: 0.02 %", "creep: [{share: 0.03 %, time constant: 5 min}]"):
        cell, *_ = built(HEAD + f"cells: {{{SHEET}, z: 5000, {creep}}}\n").plan.scale.cells
        left = sum(a * (1.0 - math.exp(-1_800.0 / tau)) * math.exp(-60.0 / tau) for a, tau in cell.creep)
        assert cell.recovery * left == pytest.approx(0.5 / 10_000, rel=1e-9)


def test_single_figures_of_a_data_sheet_stand_alone_too() -> None:
    cell, *_ = built(
        HEAD
        + "cells: {capacity: 2 t, creep after 30 min: 0.02 %, repeatability: 0.01 %, safe load limit: 2.5 t,"
        " overload set: 5 %, thermal time constant: 20 min}\nnodes: {common mode rejection: 100 dB}\n"
    ).plan.scale.cells
    assert sum(share for share, _ in cell.creep) == pytest.approx(0.0002, rel=0.12)
    assert (cell.repeatability, cell.safe_load, cell.overload_set) == (0.0001, 1.25, 0.05)
    assert cell.thermal_time_constant_s == 1200.0


def test_common_mode_rejection_is_read_in_decibels() -> None:
    scale = built(HEAD + "nodes: {common mode rejection: 100 dB}\n").plan.scale
    assert scale.stations[0].digitiser.common_mode_error == pytest.approx(1e-5)


@pytest.mark.parametrize(
    ("cells", "lines"),
    [
        ("intervals: 3000", ["s.yaml:3:20: intervals without an accuracy class; accuracy class: C"]),
        ("accuracy class: C", ["s.yaml:3:25: accuracy class C without intervals; intervals: 3000"]),
        (
            "accuracy class: C, intervals: 20000",
            ["s.yaml:3:39: intervals: 20000; 500 to 10000 in class C (OIML R 60-1 5.1.2)"],
        ),
        (
            "capacity: 1.5 t, accuracy class: C, intervals: 3000, y: 100",
            ["s.yaml:3:65: v_min: 15 kg; above 0 and at most v = E_max / n_LC, 0.5 kg"],
        ),
        (f"{SHEET}, y: 0.5", ["s.yaml:3:65: y: 0.5 is too small; at least 1.0"]),
        (f"{SHEET}, apportionment: 0.9", ["s.yaml:3:77: apportionment: 0.9 is too large; at most 0.8"]),
        (f"{SHEET}, y: 6000, v min: 200 g", ["s.yaml:3:65: v min and y; one of the two"]),
        ("creep after 30 min: 1 %, creep: []", ["s.yaml:3:29: creep and creep after 30 min; one of the two"]),
    ],
)
def test_a_data_sheet_that_cannot_be_is_refused_at_its_place(cells: str, lines: list[str]) -> None:
    assert told(HEAD + f"cells: {{{cells}}}\n") == lines
