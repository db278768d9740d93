"""One load cell against closed forms: its line, bend, loop, creep and temperature."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from benchsim.ground.commands import Place, Remove
from benchsim.scale.cell import Bank
from benchsim.scale.parts import Cell, Site
from tests.scale.made import S, one_cell, output_mv_per_v, scale

E_MAX_KG = 30_000.0


def bank(cell: Cell, site: Site | None = None, rate_hz: float = 80.0) -> Bank:
    return Bank.of((cell,), site or Site(), rate_hz)


def steady(cell: Cell, loads: list[float], site: Site | None = None) -> list[float]:
    """Output in mV/V at each load, a fraction of E_max, one after the other from no load."""
    made = bank(cell, site)
    state, found = made.rest(np.zeros(1)), []
    for load in loads:
        output, after = made.still(np.array([load * E_MAX_KG]), state, 1)
        state = after(1)
        found.append(float(output[0, 0]))
    return found


def test_an_ideal_cell_is_a_straight_line() -> None:
    assert steady(Cell(E_MAX_KG, 2.0, 0.013), [0.0, 0.3, 1.0, -0.1]) == pytest.approx(
        [0.013, 0.613, 2.013, -0.187], abs=1e-12
    )


def test_nonlinearity_is_largest_half_way_and_nothing_at_the_ends() -> None:
    loads = np.linspace(0.0, 1.0, 101)
    found = np.array([steady(Cell(E_MAX_KG, nonlinearity=-0.0003), [x])[0] for x in loads]) / 2.0 - loads
    assert found[[0, 100]] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert int(np.argmin(found)) == 50
    assert found[50] == pytest.approx(-0.0003, abs=1e-12)


RISING, FALLING = np.linspace(0.0, 1.0, 201), np.linspace(1.0, 0.0, 201)


def loop(cell: Cell) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rising and falling branch over 0 to E_max, departures from the line, fractions of rated output."""
    found = np.array(steady(cell, [*RISING, *FALLING])) / 2.0
    return found[:201] - RISING, (found[201:] - FALLING)[::-1]


def test_the_full_loop_closes_and_opens_by_the_hysteresis_half_way() -> None:
    rising, falling = loop(Cell(E_MAX_KG, hysteresis=0.0002))
    assert rising[[0, 200]] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert falling[[0, 200]] == pytest.approx([0.0, 0.0], abs=1e-12)
    apart = falling - rising
    assert apart.max() == pytest.approx(0.0002, abs=1e-12)
    assert apart[100] == pytest.approx(0.0002, abs=1e-12)
    assert np.all(apart >= -1e-15)


def test_both_branches_of_the_loop_lie_alike_about_the_line() -> None:
    rising, falling = loop(Cell(E_MAX_KG, hysteresis=0.0002))
    assert falling == pytest.approx(-rising[::-1], abs=1e-12)


@given(turns=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=12))
def test_a_minor_loop_closes_and_is_forgotten_under_a_larger_one(turns: list[float]) -> None:
    """Return-point memory and wiping-out of the Prandtl-Ishlinskii model (Mayergoyz, 1986)."""
    cell = Cell(E_MAX_KG, hysteresis=0.001)
    inside = [0.3 + 0.4 * t for t in turns]
    found = steady(cell, [0.0, 0.8, 0.3, *inside, 0.3, 0.8, 1.0, 0.5])
    assert found[2 + len(inside) + 1] == pytest.approx(found[2], abs=1e-12)
    assert found[-1] == pytest.approx(steady(cell, [0.0, 1.0, 0.5])[-1], abs=1e-12)


def test_zero_and_span_move_with_temperature() -> None:
    cell = Cell(E_MAX_KG, 2.0, 0.01, zero_effect_per_k=0.00001, span_effect_per_k=-0.00002)
    found = steady(cell, [0.0, 1.0], Site(temperature_c=45.0))
    assert found == pytest.approx([0.01 + 2.0 * 0.00025, 0.0105 + 2.0 * (1.0 - 0.0005)], abs=1e-12)
    assert steady(cell, [0.0, 1.0]) == pytest.approx([0.01, 2.01], abs=1e-12)


TERMS = ((0.0003, 5.0), (0.0002, 60.0), (-0.0001, 900.0))


def test_creep_is_the_sum_of_its_exponentials() -> None:
    """Output under a load set down at 1 s: 1 - sum a exp(-t / tau), all of it in the end."""
    made = scale(one_cell(Cell(E_MAX_KG, creep=TERMS)))
    made.do(Place("load", E_MAX_KG, 4.0, 1.5), S)
    block = made.read(0, 601 * S)
    t_s = (block.t_us - S) * 1e-6
    late = t_s > 0.1
    expected = 1.0 - sum(a * np.exp(-t_s[late] / tau) for a, tau in TERMS)
    # What a deck of 200 Hz and half a sample of uncertainty leave: 1.5 of 80 samples/s, over 5 s, of 0.0003.
    assert output_mv_per_v(block)[late, 0] / 2.0 == pytest.approx(expected, abs=0.0003 * 0.02 / 5.0)


def test_creep_recovers_as_it_came() -> None:
    """After 300 s under load and back: what stays is sum a (1 - exp(-300 / tau)) exp(-t / tau)."""
    made = scale(one_cell(Cell(E_MAX_KG, creep=TERMS)))
    made.do(Place("load", E_MAX_KG, 4.0, 1.5), S)
    made.do(Remove("load"), 301 * S)
    block = made.read(0, 900 * S)
    t_s = (block.t_us - 301 * S) * 1e-6
    gone = t_s > 0.1
    expected = sum(a * -np.expm1(-300.0 / tau) * np.exp(-t_s[gone] / tau) for a, tau in TERMS)
    assert output_mv_per_v(block)[gone, 0] / 2.0 == pytest.approx(expected, abs=0.0003 * 0.02 / 5.0)


def test_the_dead_load_has_crept_in_full_at_the_start() -> None:
    made = bank(Cell(E_MAX_KG, creep=TERMS))
    mass_kg = np.array([9_000.0])
    output, _ = made.still(mass_kg, made.rest(mass_kg), 6_400)
    assert output == pytest.approx(np.full((1, 6_400), 0.6), abs=1e-15)


@pytest.mark.parametrize("rate_hz", [10.0, 80.0, 1000.0])
def test_creep_follows_any_course_of_load_as_scipy_says(rate_hz: float) -> None:
    """Each term is 1 / (1 + tau s); scipy.signal.lsim takes the load as straight between samples too."""
    rng = np.random.Generator(np.random.SFC64(5))
    mass_kg = np.abs(np.cumsum(rng.standard_normal(1000))) * 300.0
    made = bank(Cell(E_MAX_KG, creep=TERMS), rate_hz=rate_hz)
    found, _ = made.under(mass_kg[None, 1:], made.rest(mass_kg[:1]))
    x, t = mass_kg / E_MAX_KG, np.arange(1000) / rate_hz
    expected = x.copy()
    for a, tau in TERMS:
        late = signal.lsim(([1.0], [tau, 1.0]), x - x[0], t)[1] + x[0]
        expected += a * (late - x)
    assert found[0] / 2.0 == pytest.approx(expected[1:], abs=1e-9)


@given(loads=st.lists(st.floats(-0.2, 1.3), min_size=2, max_size=150))
def test_the_loop_along_a_course_is_that_of_single_steps(loads: list[float]) -> None:
    """The scan over a block beside one clamp after another in plain Python."""
    made = bank(Cell(E_MAX_KG, hysteresis=0.001))
    state = made.rest(np.array([0.0]))
    widths = [0.0625, 0.125, 0.1875, 0.25]
    plays = [max(min(1.0 - w, w), -w) for w in widths]
    state = made.under(np.array([loads]) * E_MAX_KG, state)[1](len(loads))
    for load in loads:
        x = load * E_MAX_KG / E_MAX_KG
        plays = [min(max(p, x - w), x + w) for p, w in zip(plays, widths, strict=True)]
    assert state.play[:, 0] == pytest.approx(plays, abs=1e-12)


def test_a_creep_term_that_comes_later_makes_no_jump() -> None:
    made, more = bank(Cell(E_MAX_KG)), bank(Cell(E_MAX_KG, creep=((0.001, 600.0),)))
    mass_kg = np.array([20_000.0])
    before, state_after = made.still(mass_kg, made.rest(np.zeros(1)), 64)
    after, _ = more.still(mass_kg, more.fitted(state_after(64)), 64)
    assert after[0, 0] == before[0, -1]


def test_another_creep_term_leaves_those_under_way_as_they_are() -> None:
    """Half of a term has come after tau ln 2; a second term that starts then does not bring the rest."""
    first = (0.001, 10.0)
    made, more = bank(Cell(E_MAX_KG, creep=(first,))), bank(Cell(E_MAX_KG, creep=(first, (0.001, 600.0))))
    state = made.rest(np.zeros(1))
    load_kg = np.full((1, 555), E_MAX_KG)
    before, state_after = made.under(load_kg, state)
    after, _ = more.still(load_kg[:, 0], more.fitted(state_after(555)), 1)
    assert before[0, -1] / 2.0 == pytest.approx(1.0 - 0.001 * math.exp(-6.9375 / 10.0), abs=1e-6)
    assert after[0, 0] == pytest.approx(before[0, -1], abs=2e-6)


FAST, SLOW = (0.01, 1.0), (0.02, 1000.0)


@pytest.mark.parametrize(
    ("before", "then", "late"),
    [
        ((FAST, SLOW), (SLOW,), (0.9,)),  # the fault that began first ends
        ((FAST, SLOW), (FAST,), (0.1,)),
        ((FAST, SLOW), (SLOW, FAST), (0.9, 0.1)),
        ((FAST, SLOW), (TERMS[0], SLOW), (0.0, 0.9)),
        ((FAST, SLOW), ((0.01, 2.0), (0.03, 1000.0)), (0.0, 0.0)),
        ((FAST, FAST), (FAST, SLOW, FAST), (0.1, 0.0, 0.9)),  # equal terms go by their order
        ((), (FAST,), (0.0,)),
    ],
)
def test_what_is_late_stays_with_its_own_term(
    before: tuple[tuple[float, float], ...], then: tuple[tuple[float, float], ...], late: tuple[float, ...]
) -> None:
    state = bank(Cell(E_MAX_KG, creep=before)).rest(np.zeros(1))
    state = replace(state, late=np.array([[0.1], [0.9]])[: len(before)])
    found = bank(Cell(E_MAX_KG, creep=then)).fitted(state).late
    assert found[:, 0].tolist() == list(late)


def test_a_term_that_fills_up_a_cell_leaves_nothing_behind() -> None:
    """Beside a cell with two terms another is filled up with one of nothing; what it saw is no term's."""
    one, two = Cell(E_MAX_KG, creep=(FAST,)), Cell(E_MAX_KG, creep=(FAST, SLOW))
    beside = Bank.of((one, two), Site(), 80.0)
    load_kg = np.full((2, 64), 15_000.0)
    _, after = beside.under(load_kg, beside.rest(np.zeros(2)))
    assert after(64).late[1, 0] != 0.0
    found = Bank.of((replace(one, creep=(FAST, (0.0, 1.0))), two), Site(), 80.0).fitted(after(64))
    assert found.late[1, 0] == 0.0
    assert found.late[0].tolist() == after(64).late[0].tolist()
    assert found.late[1, 1] == after(64).late[1, 1]


def test_when_one_of_two_creep_faults_ends_the_other_goes_on_alone() -> None:
    """Half of E_max: the quick term has come, then goes with its fault; 2 % with 1000 s has come by 0.9 %."""
    healthy = one_cell(Cell(E_MAX_KG))
    made = scale(healthy)
    made.change(replace(healthy, cells=(Cell(E_MAX_KG, creep=(FAST, SLOW)),)), 0)
    made.do(Place("load", 15_000.0, 4.0, 1.5), S)
    before = output_mv_per_v(made.read(0, 10 * S))[-1, 0]
    made.change(replace(healthy, cells=(Cell(E_MAX_KG, creep=(SLOW,)),)), 10 * S)
    after = output_mv_per_v(made.read(0, 11 * S))[0, 0]
    expected = 1.0 - 0.02 * math.exp(-9.0 / 1000.0)
    assert after == pytest.approx(expected, abs=1e-6)
    assert before == pytest.approx(expected - 0.01 * math.exp(-9.0), abs=1e-6)


def test_forces_count_under_the_gravity_of_the_site() -> None:
    site = Site(gravity_m_per_s2=9.78, calibration_gravity_m_per_s2=9.81)
    assert steady(Cell(E_MAX_KG), [0.5], site)[0] == pytest.approx(9.78 / 9.81, abs=1e-14)
    assert math.isclose(steady(Cell(E_MAX_KG), [0.5])[0], 1.0)
