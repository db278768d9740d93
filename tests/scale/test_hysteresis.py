"""The loop of a cell against what makes a loop Preisach's (Mayergoyz, 1986), and against single relays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchsim.scale.cell import Bank
from benchsim.scale.parts import Cell, Site

E_MAX_KG = 10_000.0
LOOP = Cell(E_MAX_KG, rated_output_mv_per_v=1.0, hysteresis=0.001)
LOAD = st.floats(0.0, 1.0)
# Widths and weights of the play operators as cell.py gives them: the loop is `hysteresis` wide at half.
WIDTHS = np.array([0.0625, 0.125, 0.1875, 0.25])
WEIGHT = 0.001 / (2.0 * WIDTHS.sum())


def along(loads: list[float], cell: Cell = LOOP) -> NDArray[np.float64]:
    """Departure from the straight line at each load, fractions of rated output, after preloads."""
    bank = Bank.of((cell,), Site(), 80.0)
    output, _ = bank.under(np.array([loads]) * E_MAX_KG, bank.rest(np.zeros(1)))
    return np.asarray(output[0] - np.array(loads))


@given(before=st.lists(LOAD, max_size=8), low=st.floats(0.0, 0.5), more=st.floats(0.05, 0.5))
def test_minor_loops_between_the_same_loads_are_congruent_whatever_came_before(
    before: list[float], low: float, more: float
) -> None:
    """The second time round two loops between the same ends differ by a shift along the output alone."""
    ring = [*np.linspace(low, low + more, 20), *np.linspace(low + more, low, 20)]
    other, plain = along([*before, *ring, *ring])[-40:], along([*ring, *ring])[-40:]
    shift = other - plain
    assert shift == pytest.approx([shift[0]] * 40, abs=1e-15)


@given(turns=st.lists(LOAD, min_size=1, max_size=10), steps=st.integers(1, 30))
def test_only_the_turning_points_count_not_how_fast_or_in_how_many_steps(
    turns: list[float], steps: int
) -> None:
    slow = [0.0]
    for turn in turns:
        slow += np.linspace(slow[-1], turn, steps + 1)[1:].tolist()
    assert along(slow)[-1] == pytest.approx(along(turns)[-1], abs=1e-15)


@given(st.lists(LOAD, max_size=8), st.floats(0.0, 0.9), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6))
def test_a_larger_swing_wipes_out_all_smaller_ones(
    before: list[float], low: float, within: list[float]
) -> None:
    """What happened between two extremes is forgotten when one of them is passed again."""
    inside = [low + (1.0 - low) * w for w in within]
    assert along([*before, 1.0, low, *inside, low, 1.0])[-1] == pytest.approx(
        along([1.0, low, 1.0])[-1], abs=1e-15
    )


def relays(loads: list[float], count: int = 400) -> float:
    """Play operators as what they are by Preisach: relays with thresholds c - width and c + width.

    Each relay stands for a band of c of 1/count; their sum from c = -1 to 2 is the operator's output.
    Preloaded to E_max and back to 0.
    """
    centre = -1.0 + 3.0 * (np.arange(3 * count) + 0.5) / (3 * count)
    total = 0.0
    for width in WIDTHS:
        on = centre + width <= 0.0
        for load in [1.0, 0.0, *loads]:
            on = (on | (load >= centre + width)) & (load > centre - width)
        total += float(on.sum()) / count - 1.0
    return total


@given(loads=st.lists(st.integers(0, 40).map(lambda k: k / 40.0), min_size=1, max_size=10))
def test_the_loop_is_a_sum_of_preisach_s_relays(loads: list[float]) -> None:
    """Departure = weight x (sum of plays - line through the ends of the full loop)."""
    ends = 1.0 * (len(WIDTHS) - 2.0 * WIDTHS.sum())
    expected = WEIGHT * (relays(loads) - WIDTHS.sum() - loads[-1] * ends)
    # A relay counts a band of 1/400 for each of four widths.
    assert along(loads)[-1] == pytest.approx(expected, abs=WEIGHT * 4.0 / 400)
