"""A rigid deck on supports that only push: statics by hand, SciPy's least energy, what any layout keeps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import optimize

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove, SiteCommand
from benchsim.scale.contact import HOLD_DOWN_M, Contact, contact
from benchsim.scale.forces import Binding
from benchsim.scale.parts import Cell, Receptor, ScaleParts, Support, Touch
from benchsim.scale.receptor import shares
from benchsim.scale.scale import Scale
from tests.scale.made import S, output_mv_per_v, parts, scale

G = 9.80665
K = 1e8 / G  # kg/m of a support of 100 kN/mm
Floats = NDArray[np.float64]


def under(receptor: Receptor, mass_kg: float, x_m: float, y_m: float) -> Floats:
    """What the cells see of one load, (supports,), no dead load."""
    sums = (np.array([mass_kg * v]) for v in (1.0, x_m, y_m))
    return contact(receptor).carried(*sums)[:, 0]


def deck(*supports: Support, touches: Sequence[Touch] = ()) -> Receptor:
    return Receptor(20.0, 4.0, 0.0, supports, touches=tuple(touches))


CORNERS = tuple(Support(x, y) for x in (0.0, 20.0) for y in (0.0, 4.0))
ROW = tuple(Support(x, 2.0) for x in (0.0, 10.0, 20.0))


def test_a_deck_lifts_off_the_corner_across_from_its_load() -> None:
    """Load at a quarter of both sides from a corner: 9/16, 3/16, 3/16, 1/16; nearer the corner than half of
    both sides together the fourth support hangs free, and three carry it as statics says."""
    for x, y in ((2.0, 0.5), (1.0, 1.0), (0.0, 0.0)):
        found = under(deck(*CORNERS), 1_000.0, x, y)
        u, v = x / 20.0, y / 4.0
        if u + v <= 0.5:
            expected = [1.0 - u - v, v, u, 0.0]
        assert found == pytest.approx([1_000.0 * e for e in expected], abs=1e-5)
    anchored = deck(*(replace(s, anchored=True) for s in CORNERS))
    assert under(anchored, 1_000.0, 0.0, 0.0) == pytest.approx([750.0, 250.0, 250.0, -250.0], abs=1e-9)


@pytest.mark.parametrize("gap_m", [0.0, 1e-4, 3e-4])
def test_a_row_of_three_with_a_low_middle_closes_its_gap_and_then_shares(gap_m: float) -> None:
    """Load over the middle: the ends carry it until they give by the gap, 2 k g; from there on
    3 k d - k g = P."""
    low = deck(ROW[0], replace(ROW[1], height_m=-gap_m), ROW[2])
    closes_kg = 2.0 * K * gap_m
    for mass_kg in (0.5 * closes_kg, 0.999 * closes_kg, closes_kg + 3_000.0, closes_kg + 90_000.0):
        if mass_kg <= closes_kg:
            expected = [0.5 * mass_kg, 0.0, 0.5 * mass_kg]
        else:
            sunk_m = (mass_kg + K * gap_m) / (3.0 * K)
            expected = [K * sunk_m, K * (sunk_m - gap_m), K * sunk_m]
        assert under(low, mass_kg, 10.0, 2.0) == pytest.approx(expected, abs=1e-4)


def test_heights_shift_shares_of_four_corners_crosswise() -> None:
    """One corner low by h: by symmetry it and its opposite lose k h / 4, the others gain as much."""
    low = deck(replace(CORNERS[0], height_m=-1e-4), *CORNERS[1:])
    shift = 0.25 * K * 1e-4
    found = under(low, 40_000.0, 10.0, 2.0) - 10_000.0
    assert found == pytest.approx([-shift, shift, shift, -shift], abs=1e-6)


def test_an_object_under_the_deck_carries_only_what_lies_beyond_its_gap() -> None:
    """Over one support of stiffness k with an object of k' beside it: P = k d + k' (d - gap)."""
    stone = Touch(10.0, 2.0, 5e7, 2e-4)
    one = deck(Support(10.0, 2.0), touches=[stone])
    assert under(one, K * 1e-4, 10.0, 2.0) == pytest.approx([K * 1e-4], rel=1e-6)
    sunk_m = (30_000.0 + 0.5 * K * 2e-4) / (1.5 * K)
    assert under(one, 30_000.0, 10.0, 2.0) == pytest.approx([K * sunk_m], rel=1e-9)


def test_a_pipe_takes_its_stiffness_s_part_of_every_load_and_a_thrust_is_a_load() -> None:
    """Springs side by side: k / (k + k'); Newton's second law for the thrust."""
    tank = deck(Support(10.0, 2.0), touches=[Touch(10.0, 2.0, 2e6, bonded=True)])
    for mass_kg in (10.0, 100.0, 20_000.0):
        assert under(tank, mass_kg, 10.0, 2.0) == pytest.approx([mass_kg / 1.02], rel=1e-6, abs=1e-3)
    pressed = deck(*CORNERS, touches=[Touch(5.0, 1.0, push_kg=-40.0)])
    expected = under(deck(*CORNERS), 1_000.0, 10.0, 2.0) - 40.0 * np.array(shares(pressed, 5.0, 1.0))
    assert under(pressed, 1_000.0, 10.0, 2.0) == pytest.approx(expected, abs=1e-9)


def test_a_deck_that_tips_comes_to_its_hold_downs_beside_the_cells() -> None:
    """Two supports at 8 m and 12 m, load at 14 m: the far one lifts till its hold-down pulls, then moments
    about the near one: the near one carries 3/2, the cell of the far one nothing."""
    tipping = deck(Support(8.0, 2.0), Support(12.0, 2.0))
    light_kg = 10.0
    assert under(tipping, light_kg, 14.0, 2.0) == pytest.approx([0.0, 1.5 * light_kg], abs=1e-3)
    assert HOLD_DOWN_M > 0.0


def least_energy(receptor: Receptor, load: tuple[float, float, float]) -> Floats:
    """Forces on the supports by SciPy: the plane (sink, two tilts about the middle) of least energy."""
    elements = [*((s.x_m, s.y_m, s.stiffness_n_per_m, -s.height_m) for s in receptor.supports)]
    elements += [(t.x_m, t.y_m, t.stiffness_n_per_m, t.gap_m) for t in receptor.touches]
    x, y, k, gap = (np.array(column) for column in zip(*elements, strict=True))
    ways = np.column_stack([np.ones(len(x)), (x - 10.0) / 10.0, (y - 2.0) / 2.0])
    mass, mx, my = load
    push = np.array([mass, (mx - 10.0 * mass) / 10.0, (my - 2.0 * mass) / 2.0])
    k = k / G

    def energy(q_mm: Floats) -> tuple[float, Floats]:
        down = np.maximum(ways @ q_mm * 1e-3 - gap, 0.0)
        return float(0.5 * k @ down**2 - push @ q_mm * 1e-3) / mass, 1e-3 * (
            ways.T @ (k * down) - push
        ) / mass

    found = optimize.minimize(
        energy, np.ones(3), jac=True, method="BFGS", options={"gtol": 1e-12, "maxiter": 2000}
    )
    down = np.maximum(ways @ found.x * 1e-3 - gap, 0.0)
    return np.asarray((k * down)[: len(receptor.supports)])


def any_deck(seed: int) -> tuple[Receptor, tuple[float, float, float]]:
    """Corners and more, heights within half a millimetre, stones, and a load between."""
    draw = np.random.default_rng(seed)
    supports = [
        replace(s, height_m=draw.normal() * 3e-4, stiffness_n_per_m=draw.uniform(0.5, 2) * 1e8)
        for s in CORNERS
    ]
    supports += [
        Support(draw.uniform(0, 20), draw.uniform(0, 4), draw.uniform(0.5, 2) * 1e8, draw.normal() * 3e-4)
        for _ in range(seed % 9)
    ]
    stones = [
        Touch(draw.uniform(0, 20), draw.uniform(0, 4), 5e7, draw.uniform(0, 1e-3)) for _ in range(seed % 3)
    ]
    mass = draw.uniform(1e3, 6e4)
    return deck(*supports, touches=stones), (mass, mass * draw.uniform(2, 18), mass * draw.uniform(0.5, 3.5))


@pytest.mark.parametrize("seed", range(24))
def test_any_deck_bears_as_scipy_s_least_energy_says(seed: int) -> None:
    receptor, load = any_deck(seed)
    found = contact(receptor).carried(*(np.array([v]) for v in load))[:, 0]
    assert found == pytest.approx(least_energy(receptor, load), abs=2e-3 * load[0])
    assert contact(receptor)._alone(*load)[: len(found)] == pytest.approx(found, abs=1e-7 * load[0])


def test_the_lowest_energy_is_found_from_anywhere_alone_or_among_others() -> None:
    """Each load on its own and all at once, to the bit: who stands beside it in a block is nothing to it."""
    receptor, _ = any_deck(17)
    draw = np.random.default_rng(5)
    mass = draw.uniform(10.0, 6e4, 200)
    x, y = mass * draw.uniform(0, 20, 200), mass * draw.uniform(0, 4, 200)
    on = contact(receptor)
    whole = on.carried(mass, x, y)
    assert (on.carried(mass[::-1], x[::-1], y[::-1])[:, ::-1] == whole).all()
    for n in range(0, 200, 7):
        part = slice(n, n + 1)
        assert (on.carried(mass[part], x[part], y[part])[:, 0] == whole[:, n]).all()


# -- what any layout keeps -----------------------------------------------------------------------------

PLACE = st.tuples(st.floats(0.0, 20.0), st.floats(0.0, 4.0))
MASS = st.floats(1e3, 1e6)
LAYOUT = st.lists(
    st.builds(
        Support, st.floats(0.0, 20.0), st.floats(0.0, 4.0), st.floats(2e7, 5e8), st.floats(-1e-3, 1e-3)
    ),
    max_size=12,
)


def sums_of(loads: list[tuple[float, tuple[float, float]]]) -> tuple[Floats, Floats, Floats]:
    return (
        np.array([math.fsum(m for m, _ in loads)]),
        np.array([math.fsum(m * at[0] for m, at in loads)]),
        np.array([math.fsum(m * at[1] for m, at in loads)]),
    )


LOADS = st.lists(st.tuples(MASS, PLACE), min_size=1, max_size=4)


@given(more=LAYOUT, loads=LOADS)
def test_the_cells_of_any_layout_add_up_to_the_load(
    more: list[Support], loads: list[tuple[float, tuple[float, float]]]
) -> None:
    """Corners and any more, uneven and lifting as they may: force balance, where no hold-down pulls."""
    sums = sums_of(loads)
    on = contact(deck(*CORNERS, *more))
    assume(_tips(on, sums) is False)
    assert on.carried(*sums).sum() == pytest.approx(sums[0][0], rel=1e-9, abs=2e-3)


def _tips(on: Contact, sums: tuple[Floats, Floats, Floats]) -> bool:
    """Whether some hold-down pulls: only then may a support see nothing at all, not even a hanging spring."""
    return bool((on.carried(*sums) == 0.0).any()) and bool(sums[0][0] > 0.0)


@given(more=LAYOUT, one=LOADS, other=LOADS, times=st.floats(0.1, 10.0))
def test_with_nothing_lifting_forces_are_linear_in_the_load(
    more: list[Support],
    one: list[tuple[float, tuple[float, float]]],
    other: list[tuple[float, tuple[float, float]]],
    times: float,
) -> None:
    level = [replace(s, anchored=True, height_m=0.0) for s in (*CORNERS, *more)]
    on, a, b = contact(deck(*level)), sums_of(one), sums_of(other)
    both = tuple(x + times * y for x, y in zip(a, b, strict=True))
    expected = on.carried(*a) + times * on.carried(*b)
    assert on.carried(*both) == pytest.approx(expected, rel=1e-9, abs=1e-6 * (1.0 + both[0][0]))


@given(more=LAYOUT, loads=LOADS, order=st.randoms(use_true_random=False))
def test_other_numbers_on_the_supports_change_nothing(
    more: list[Support], loads: list[tuple[float, tuple[float, float]]], order: object
) -> None:
    whole = [*CORNERS, *more]
    places = list(range(len(whole)))
    order.shuffle(places)  # type: ignore[attr-defined]
    sums = sums_of(loads)
    found = contact(deck(*whole)).carried(*sums)[places, 0]
    mixed = contact(deck(*(whole[p] for p in places))).carried(*sums)[:, 0]
    assert mixed == pytest.approx(found, rel=1e-6, abs=1e-3 + 1e-6 * sums[0][0])


@given(
    supports=st.lists(
        st.builds(
            Support, st.floats(0.0, 20.0), st.floats(0.0, 4.0), st.floats(1e-6, 1e15), st.floats(-1.0, 1.0),
            st.booleans(),
        ),
        min_size=1,
        max_size=8,
    ),
    touches=st.lists(
        st.builds(
            Touch, st.floats(0.0, 20.0), st.floats(0.0, 4.0), st.floats(0.0, 1e15), st.floats(-1.0, 1.0),
            st.booleans(), st.floats(-1e9, 1e9),
        ),
        max_size=3,
    ),
    mass=st.floats(0.0, 1e9),
    at=PLACE,
)  # fmt: skip
def test_no_figure_makes_a_force_that_is_no_number(
    supports: list[Support], touches: list[Touch], mass: float, at: tuple[float, float]
) -> None:
    assert np.isfinite(under(deck(*supports, touches=touches), mass, *at)).all()


# -- friction beside a cell, and the whole scale ---------------------------------------------------------


def bound(share: float, holds_kg: float, dead_load_kg: float = 0.0) -> ScaleParts:
    made = parts(
        Cell(30_000.0), ((4.0, 1.5),), dead_load_kg=dead_load_kg, natural_frequency_hz=50.0, damping_ratio=1.0
    )
    support = replace(made.receptor.supports[0], binding_kg=holds_kg, binding_share=share)
    return replace(made, receptor=replace(made.receptor, supports=(support,)))


def seen_kg(running: Scale, until_s: float) -> float:
    return float(output_mv_per_v(running.read(0, round(until_s * S)))[-1, 0]) / 2.0 * 30_000.0


def test_friction_reads_short_on_the_way_up_and_over_on_the_way_down_by_what_it_holds() -> None:
    """Up: P - R.  A little down: only the share of the change shows less.  Down beyond 2 R / share: P + R."""
    running = scale(bound(0.5, 100.0))
    for number in range(10):
        running.do(Place(f"b{number}", 1_000.0, 4.0, 1.5), number * S)
    assert seen_kg(running, 10.0) == pytest.approx(9_900.0, abs=0.01)
    running.do(Place("small", 10.0, 4.0, 1.5), 10 * S)
    assert seen_kg(running, 12.0) == pytest.approx(9_910.0, abs=0.01)
    running.do(Remove("small"), 12 * S)
    assert seen_kg(running, 14.0) == pytest.approx(9_905.0, abs=0.01)
    for number in range(5):
        running.do(Remove(f"b{number}"), (14 + number) * S)
    assert seen_kg(running, 22.0) == pytest.approx(5_100.0, abs=0.01)


def test_what_never_slips_takes_its_share_of_every_swing() -> None:
    """Held for good: the cell sees 1 - share of all that changes, through each swing of the deck."""
    made = parts(Cell(30_000.0), ((4.0, 1.5),), natural_frequency_hz=3.0)
    stuck = replace(made.receptor.supports[0], binding_kg=1e6, binding_share=0.3)
    held = replace(made, receptor=replace(made.receptor, supports=(stuck,)))
    found = []
    for whole in (made, held):
        running = scale(whole)
        running.do(Place("a", 5_000.0, 4.0, 1.5), S)
        running.do(Place("b", 1_000.0, 4.0, 1.5), S + 700_000)
        found.append(output_mv_per_v(running.read(0, 6 * S))[:, 0])
    assert found[1] == pytest.approx(0.7 * found[0], abs=1e-8)


def test_what_friction_takes_in_a_loop_is_the_area_of_the_loop() -> None:
    """Energy over a full loop 0 to P to 0 of (load, held): 2 R (P - 2 R / share) when it slips both ways."""
    binding = Binding(np.array([[0.4]]), np.array([[50.0]]))
    way = np.concatenate([np.linspace(0.0, 1_000.0, 4_001), np.linspace(1_000.0, 0.0, 4_001)])[None, :]
    way = np.concatenate([way, way], axis=1)
    _, held = binding.past(way, np.zeros(1), np.zeros(1))
    loop, load = held[0, 8_002:], way[0, 8_002:]
    area = float(np.sum(0.5 * (loop[1:] + loop[:-1]) * np.diff(load)))
    assert area == pytest.approx(2.0 * 50.0 * (1_000.0 - 100.0 / 0.4), rel=1e-3)


def uneven() -> ScaleParts:
    """Six supports, one low, one that binds, a stone: everything here at once."""
    at = [(x, y) for x in (0.0, 4.0, 8.0) for y in (0.0, 3.0)]
    made = parts(Cell(30_000.0), at, dead_load_kg=3_000.0)
    supports = list(made.receptor.supports)
    supports[2] = replace(supports[2], height_m=-4e-4)
    supports[5] = replace(supports[5], binding_kg=60.0)
    return replace(
        made,
        receptor=replace(made.receptor, supports=tuple(supports), touches=(Touch(2.0, 1.0, 5e7, 2e-4),)),
    )


@pytest.mark.parametrize("step_us", [12_500, 777_777, 3_000_000])
def test_an_uneven_binding_deck_gives_the_same_bytes_however_read(step_us: int) -> None:
    def played(step: int) -> bytes:
        running, blocks = scale(uneven()), []
        happenings: list[tuple[int, SiteCommand]] = [
            (1 * S, Place("a", 9_000.0, 7.5, 2.5)),
            (3 * S, Drive("b", (Axle(5_000.0, 0.0), Axle(8_000.0, 3.5)), 3.0, 7.0, 0.4, 2 * S)),
            (6 * S, Move("a", 0.2, 0.2)),
            (12 * S, Remove("a")),
        ]
        for t_us in [*range(step, 15 * S, step), 15 * S]:
            while happenings and happenings[0][0] < t_us:
                at_us, command = happenings.pop(0)
                running.do(command, at_us)
            blocks += [running.read(0, t_us).counts]
        return np.concatenate(blocks).tobytes()

    assert played(step_us) == played(15 * S)
