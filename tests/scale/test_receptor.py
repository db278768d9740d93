"""Who carries what: statics by hand, an independent stiffness solve, and the deck's second-order response."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import linalg

from benchsim.ground.commands import Place
from benchsim.scale.parts import Cell, Receptor, Support
from benchsim.scale.receptor import bearing, dead_shares_kg, shares
from tests.scale.made import S, output_mv_per_v, parts, scale

Layout = Sequence[tuple[float, float, float]]


def receptor(layout: Layout, dead_load_kg: float = 0.0) -> Receptor:
    return Receptor(20.0, 4.0, dead_load_kg, tuple(Support(x, y, k) for x, y, k in layout))


def test_three_supports_share_by_moments() -> None:
    """Supports at (0, 0), (6, 0), (3, 4), load at (2, 1).

    Moments about the x axis: 4 C = 1, C = 1/4.  About the y axis: 6 B + 3 C = 2, B = 5/24.  Rest: A = 13/24.
    """
    found = shares(receptor([(0, 0, 1.0), (6, 0, 7.0), (3, 4, 3.0)]), 2.0, 1.0)
    assert found == pytest.approx((13 / 24, 5 / 24, 1 / 4), abs=1e-14)


def test_two_supports_share_by_the_lever() -> None:
    """Supports at x = 1 and x = 5, load at 2: 3/4 and 1/4, wherever across."""
    for y in (0.0, 1.0, 4.0):
        assert shares(receptor([(1, 2, 1.0), (5, 2, 9.0)]), 2.0, y) == pytest.approx((0.75, 0.25), abs=1e-14)


def test_one_support_carries_all_wherever_the_load_stands() -> None:
    assert shares(receptor([(3, 1, 2.0)]), 19.0, 0.0) == (1.0,)


@pytest.mark.parametrize("apart_m", [0.0, 1e-156, 1e-9, 0.004])
def test_supports_in_one_place_share_by_stiffness(apart_m: float) -> None:
    found = shares(receptor([(3, 1, 1.0), (3 + apart_m, 1, 3.0)]), 9.0, 2.0)
    assert found == pytest.approx((0.25, 0.75), abs=1e-12)


def test_a_load_in_the_middle_of_four_equal_corners_is_shared_in_quarters() -> None:
    layout = [(0, 0, 1.0), (20, 0, 1.0), (0, 4, 1.0), (20, 4, 1.0)]
    assert shares(receptor(layout), 10.0, 2.0) == pytest.approx((0.25,) * 4, abs=1e-15)


def test_over_a_corner_of_a_rigid_plate_the_opposite_corner_lifts() -> None:
    """Four equal corners, load on one: 3/4, 1/4, 1/4, -1/4 (statics with one spring constant)."""
    layout = [(0, 0, 1.0), (20, 0, 1.0), (0, 4, 1.0), (20, 4, 1.0)]
    assert shares(receptor(layout), 0.0, 0.0) == pytest.approx((0.75, 0.25, 0.25, -0.25), abs=1e-14)


def by_stiffness(layout: Layout, x: float, y: float) -> NDArray[np.float64]:
    """Springs and equilibrium in one matrix, solved by SciPy: forces and the plate's position at once."""
    at = np.array([[px, py] for px, py, _ in layout])
    k = np.array([s for _, _, s in layout])
    equations = np.column_stack([np.ones(len(k)), at])
    whole = np.block([[np.diag(1.0 / k), -equations], [equations.T, np.zeros((3, 3))]])
    force = np.concatenate([np.zeros(len(k)), [1.0, x, y]])
    return np.asarray(linalg.solve(whole, force)[: len(k)])


FLOAT_X, FLOAT_Y = st.floats(0.0, 20.0), st.floats(0.0, 4.0)
SUPPORT = st.tuples(FLOAT_X, FLOAT_Y, st.floats(0.2, 5.0))


@given(layout=st.lists(SUPPORT, min_size=3, max_size=16), x=FLOAT_X, y=FLOAT_Y)
def test_any_layout_shares_as_an_independent_stiffness_solve_says(layout: Layout, x: float, y: float) -> None:
    centred = np.array([[px, py] for px, py, _ in layout])
    spread = np.linalg.svd(centred - centred.mean(axis=0), compute_uv=False)
    if spread[1] < 0.05:
        layout = [*layout[:13], (0.0, 0.0, 1.0), (20.0, 0.0, 1.0), (10.0, 4.0, 1.0)]
    found = np.array(shares(receptor(layout), x, y))
    assert found == pytest.approx(by_stiffness(layout, x, y), abs=1e-8)
    assert math.fsum(found) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("count", range(4, 17))
def test_rows_of_supports_share_as_an_independent_stiffness_solve_says(count: int) -> None:
    layout = [(20.0 * (i // 2) / ((count - 1) // 2), 4.0 * (i % 2), 1.0 + 0.1 * i) for i in range(count)]
    for x, y in ((0.0, 0.0), (3.7, 1.1), (19.0, 4.0)):
        assert shares(receptor(layout), x, y) == pytest.approx(by_stiffness(layout, x, y), abs=1e-12)


@given(
    places=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=16, unique_by=lambda v: round(v, 3)),
    slope=st.sampled_from([(20.0, 0.0), (0.0, 4.0), (20.0, 4.0), (3.0, 4.0)]),
    along=st.floats(0.0, 1.0),
)
def test_supports_on_one_line_share_by_the_place_along_it(
    places: list[float], slope: tuple[float, float], along: float
) -> None:
    """The beam on springs: w + a s at each spring, sum and moment in balance, solved by SciPy."""
    dx, dy = slope
    assume(math.hypot(dx, dy) * (max(places) - min(places)) > 0.01)  # nearer together they are in one place
    layout = [(p * dx, p * dy, 1.0 + i) for i, p in enumerate(places)]
    k, s = np.array([v[2] for v in layout]), np.array(places)
    plate = linalg.solve([[k.sum(), k @ s], [k @ s, k @ (s * s)]], [1.0, along])
    found = np.array(shares(receptor(layout), along * dx, along * dy))
    assert found == pytest.approx(k * (plate[0] + plate[1] * s), abs=1e-6)


@pytest.mark.parametrize("beside_m", [0.0, 1e-7, 1e-5, 1e-3, 0.019])
@pytest.mark.parametrize("across_m", [0.0, 2.0, 4.0])
def test_supports_hardly_beside_a_line_share_as_on_it(beside_m: float, across_m: float) -> None:
    """Three springs in a row, load a quarter of the way along: 1/3 + 5/10 (1/2) s, s the place of each."""
    layout = [(0.0, 2.0, 1.0), (10.0, 2.0 + beside_m, 1.0), (20.0, 2.0, 1.0)]
    found = shares(receptor(layout), 5.0, across_m)
    assert found == pytest.approx((7 / 12, 1 / 3, 1 / 12), abs=1e-12)
    assert bearing(receptor(layout)).line is not None


def test_supports_truly_beside_a_line_are_no_line() -> None:
    layout = [(0.0, 2.0, 1.0), (10.0, 2.5, 1.0), (20.0, 2.0, 1.0)]
    assert bearing(receptor(layout)).line is None
    assert shares(receptor(layout), 10.0, 2.25) == pytest.approx((0.25, 0.5, 0.25), abs=1e-12)


@pytest.mark.parametrize("soft", [1e-3, 1e-9, 1e-15])
def test_soft_supports_make_no_line_of_the_others(soft: float) -> None:
    """On three supports statics alone fixes the shares, however soft one is: moments as in the first test."""
    found = shares(receptor([(0, 0, 1.0), (6, 0, 1.0), (3, 4, soft)]), 2.0, 1.0)
    assert found == pytest.approx((13 / 24, 5 / 24, 1 / 4), abs=1e-14)


def test_the_dead_load_is_shared_from_the_middle() -> None:
    layout = [(0, 0, 1.0), (0, 4, 1.0), (15, 2, 1.0)]
    assert dead_shares_kg(receptor(layout, 1200.0)) == pytest.approx((200.0, 200.0, 800.0), abs=1e-9)


def test_the_first_overshoot_is_the_textbook_one() -> None:
    """Overshoot exp(-pi D / sqrt(1 - D^2)), 77.8 % at D = 0.08; at a high rate the step is nearly sharp."""
    made = scale(parts(Cell(30_000.0), natural_frequency_hz=2.0))
    made.do(Place("block", 12_000.0, 4.0, 1.5), S)
    found_kg = output_mv_per_v(made.read(0, 4 * S))[:, 0] / 2.0 * 30_000.0
    overshoot = found_kg.max() / 3_000.0 - 1.0
    assert overshoot == pytest.approx(math.exp(-math.pi * 0.08 / math.sqrt(1.0 - 0.08**2)), abs=0.01)
