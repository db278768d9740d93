"""What a cell keeps of its past, against closed forms: its temperature, recovery, overload, how loads sit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove, SiteCommand
from benchsim.ground.randomness import Streams
from benchsim.scale.loads import Deck
from benchsim.scale.parts import Cell, ScaleParts, Site, Wiring
from benchsim.scale.scale import Scale
from benchsim.scale.seating import Seats
from tests.scale.made import CORNERS, S, one_cell, output_mv_per_v, parts, scale

E_MAX_KG = 30_000.0
WARM = Cell(E_MAX_KG, zero_effect_per_k=1e-5, span_effect_per_k=-2e-5, thermal_time_constant_s=20.0)


def at(made: ScaleParts, temperature_c: float) -> ScaleParts:
    return replace(made, site=Site(temperature_c=temperature_c))


def settled_output(cell: Cell, made: Scale, until_us: int) -> float:
    return float(output_mv_per_v(made.read(0, until_us))[-1, 0]) / cell.rated_output_mv_per_v


@pytest.mark.parametrize("load", [0.0, 1.0])
def test_zero_and_span_follow_a_step_of_temperature_by_one_time_constant(load: float) -> None:
    """T = 25 (1 - exp(-t / tau)) K above 20 C: output x (1 + b T) + a T of rated output."""
    made = one_cell(WARM)
    running = scale(made)
    if load:
        running.do(Place("load", load * E_MAX_KG, 4.0, 1.5), S // 2)
    running.change(at(made, 45.0), 3 * S)
    block = running.read(0, 260 * S)
    t_s = np.maximum(block.t_us * 1e-6 - 3.0, 0.0)
    kelvin = 25.0 * -np.expm1(-t_s / 20.0)
    expected = load * (1.0 - 2e-5 * kelvin) + 1e-5 * kelvin
    late = block.t_us > 3 * S
    assert output_mv_per_v(block)[late, 0] / 2.0 == pytest.approx(expected[late], abs=2e-9)


def test_a_temperature_that_changes_each_second_is_followed_as_scipy_says() -> None:
    """1 / (1 + tau s) with its input held from second to second (zero-order hold)."""
    made = one_cell(replace(WARM, span_effect_per_k=0.0))
    running = scale(made)
    rng = np.random.Generator(np.random.SFC64(3))
    course_c = 20.0 + np.cumsum(rng.standard_normal(120)) * 3.0
    course_c[0] = 20.0
    for second, temperature_c in enumerate(course_c[1:], 1):
        running.change(at(made, float(temperature_c)), second * S)
    block = running.read(0, 120 * S)
    expected_k = signal.lsim(([1.0], [20.0, 1.0]), course_c - 20.0, np.arange(120.0), interp=False)[1]
    found_k = output_mv_per_v(block)[79::80, 0] / 2.0 / 1e-5  # the samples at whole seconds, before a change
    assert found_k[:-1] == pytest.approx(expected_k[1:], abs=2e-4)


@pytest.mark.parametrize(
    ("wiring", "ohm"),
    [
        (Wiring(2.0, sensed=False), 4.0),
        (Wiring(2.0), 0.0),
        # Sensed at the wrong end of two conductors in parallel.
        (Wiring(2.0, shorts=(("EXC+", "SEN+", 0.0),)), 1.0),
    ],
)
def test_copper_leads_take_span_as_they_warm_unless_it_is_sensed(wiring: Wiring, ohm: float) -> None:
    """R_in / (R_in + R (1 + 0.00393 K)); the textbook's coefficient of copper at 20 C."""
    made = one_cell(Cell(E_MAX_KG, input_resistance_ohm=350.0, output_resistance_ohm=350.0), wiring=wiring)
    running = scale(made)
    running.do(Place("load", E_MAX_KG, 4.0, 1.5), S)
    for second, temperature_c in ((3, 60.0), (6, -10.0), (9, 20.0)):
        running.change(at(made, temperature_c), second * S)
        found = output_mv_per_v(running.read(0, (second + 2) * S))[-1, 0] / 2.0
        leads = ohm * (1.0 + 0.00393 * (temperature_c - 20.0))
        assert found == pytest.approx(350.0 / (350.0 + leads), abs=2e-9)


def test_a_cell_that_has_taken_its_site_s_temperature_is_one_without_a_lag() -> None:
    slow, quick = one_cell(WARM), one_cell(replace(WARM, thermal_time_constant_s=0.0))
    ends = []
    for made in (slow, quick):
        running = scale(made)
        running.change(at(made, 33.0), S)
        running.do(Place("load", 12_345.0, 4.0, 1.5), 700 * S)
        running.read(0, 720 * S)
        ends.append(running.read(0, 730 * S).counts.tobytes())
    assert ends[0] == ends[1]


@pytest.mark.parametrize("recovery", [0.4, 1.0, 1.7])
def test_unloading_leaves_behind_the_recovery_times_what_had_come_late(recovery: float) -> None:
    """After 300 s under load: recovery x sum a (1 - exp(-300 / tau)) exp(-t / tau); loading is as without."""
    terms = ((0.0003, 30.0), (0.0002, 400.0))
    running = scale(one_cell(Cell(E_MAX_KG, creep=terms, recovery=recovery)))
    running.do(Place("load", E_MAX_KG, 4.0, 1.5), S)
    running.do(Remove("load"), 301 * S)
    block = running.read(0, 900 * S)
    output, t_s = output_mv_per_v(block)[:, 0] / 2.0, (block.t_us - S) * 1e-6
    loaded, gone = (t_s > 0.1) & (t_s < 299.0), t_s > 300.1
    creeping = 1.0 - sum(a * np.exp(-t_s[loaded] / tau) for a, tau in terms)
    left = sum(a * -np.expm1(-300.0 / tau) * np.exp(-(t_s[gone] - 300.0) / tau) for a, tau in terms)
    assert output[loaded] == pytest.approx(creeping, abs=3e-7)
    assert output[gone] == pytest.approx(recovery * left, abs=3e-7 * max(1.0, recovery))


def test_overload_shifts_zero_for_good_by_the_largest_load_so_far() -> None:
    """0.1 of what the load lies beyond 1.5 E_max: 2.0 leaves 0.05, then 1.8 no more, 2.2 leaves 0.07."""
    cell = Cell(E_MAX_KG, rated_output_mv_per_v=1.0, safe_load=1.5, overload_set=0.1)
    running, found = scale(one_cell(cell)), []
    for number, load in enumerate((1.4, 2.0, 1.8, 2.2)):
        running.do(Place("load", load * E_MAX_KG, 4.0, 1.5), (4 * number + 1) * S)
        running.do(Remove("load"), (4 * number + 3) * S)
        found.append(settled_output(cell, running, (4 * number + 4) * S + S // 2))
    # A deck of 0.9 damping overshoots by 0.15 %: exp(-pi D / sqrt(1 - D^2)).
    assert found == pytest.approx([0.0, 0.05, 0.05, 0.07], abs=0.1 * 2.2 * 0.0016)
    assert found[1] == found[2]


def test_a_spring_that_weakens_under_a_standing_load_gives_way_at_once() -> None:
    """0.1 of what 0.9 E_max lies beyond a safe load of 0.5: 0.04 is there at once, and stays."""
    sound = one_cell(Cell(E_MAX_KG, rated_output_mv_per_v=1.0))
    weak = replace(sound, cells=(replace(sound.cells[0], safe_load=0.5, overload_set=0.1),))
    running = scale(sound)
    running.do(Place("load", 0.9 * E_MAX_KG, 4.0, 1.5), S)
    running.change(weak, 30 * S)
    running.do(Remove("load"), 40 * S)
    block = running.read(0, 50 * S)
    output = output_mv_per_v(block)[:, 0]
    assert output[block.t_us == 30 * S] == pytest.approx([0.9], abs=1e-8)
    assert output[[31 * 80, -1]] == pytest.approx([0.94, 0.04], abs=1e-8)


def test_each_cell_of_a_scale_seats_by_its_own_stream_whichever_station_reads_it() -> None:
    six = ((0.0, 0.0), (0.0, 3.0), (4.0, 0.0), (4.0, 3.0), (8.0, 0.0), (8.0, 3.0))
    running = scale(parts(Cell(1e6, repeatability=1e-3), six), seed=7)
    running.do(Place("load", 6e5, 4.0, 1.5), S)
    found = np.concatenate([output_mv_per_v(running.read(k, 30 * S))[-1] for k in (0, 1)])
    draws = [float(Streams(7).noise("seat", cell).normal(1)[0]) for cell in range(6)]
    assert (found / 0.2 - 1.0) / 1e-3 == pytest.approx(draws, abs=1e-4)


def test_what_sits_anew_is_the_load_s_part_of_all_that_is_carried() -> None:
    made = parts(Cell(E_MAX_KG, repeatability=1e-4), dead_load_kg=1_000.0)
    seats, deck = Seats(Streams(1)), Deck(made.receptor)
    place, lorry = (
        Place("a", 3_000.0, 4.0, 1.5),
        Drive("b", (Axle(2_000.0, 0.0), Axle(4_000.0, 3.0)), 3.0, 7.0, 1.5),
    )
    parts_told = []
    told: list[SiteCommand] = [place, lorry, Move("a", 2.0, 1.0), Remove("b"), Remove("a")]
    for second, command in enumerate(told):
        deck = deck.after(command, second * S)
        seating = seats.after(command, deck, made)
        parts_told.append(None if seating is None else seating.part)
    assert parts_told == [0.75, 0.6, 0.3, None, None]
    steady = replace(made, cells=tuple(replace(c, repeatability=0.0) for c in made.cells))
    assert Seats(Streams(1)).after(place, Deck(made.receptor).after(place, 0), steady) is None


def outputs_of_loadings(cell: Cell, times: int, dead_load_kg: float = 0.0) -> tuple[list[float], list[float]]:
    """Output loaded and unloaded, over rated output, of that many loadings by half of E_max."""
    made = replace(one_cell(cell), receptor=replace(one_cell(cell).receptor, dead_load_kg=dead_load_kg))
    running, loaded, empty = scale(made), [], []
    for number in range(times):
        running.do(Place("load", 0.5 * E_MAX_KG, 4.0, 1.5), (2 * number + 1) * S)
        loaded.append(settled_output(cell, running, (2 * number + 2) * S))
        running.do(Remove("load"), (2 * number + 2) * S)
        empty.append(settled_output(cell, running, (2 * number + 3) * S - S // 8))
    return loaded, empty


def test_the_same_load_sits_differently_each_time_by_the_repeatability() -> None:
    """A standard deviation of 300 draws is within 4 x 1 / sqrt(2 x 300) = 16 % of its own."""
    loaded, empty = outputs_of_loadings(Cell(E_MAX_KG, repeatability=1e-4), 300)
    assert np.std(np.array(loaded) / 0.5) == pytest.approx(1e-4, rel=0.17)
    assert np.mean(loaded) / 0.5 - 1.0 == pytest.approx(0.0, abs=4.0 * 1e-4 / 300**0.5)
    assert empty == pytest.approx([0.0] * 300, abs=1e-8)


def test_under_a_dead_load_zero_comes_back_nearly_and_never_wanders_off() -> None:
    """The seat is a mean in which old draws fade: bounded by the repeatability, however many loadings."""
    _, empty = outputs_of_loadings(Cell(E_MAX_KG, repeatability=1e-4), 300, dead_load_kg=3_000.0)
    off = np.array(empty) / 0.1 - 1.0
    assert 0.3e-4 < np.std(off) < 1.2e-4
    assert np.abs(off).max() < 5e-4


@given(
    load=st.floats(0.0, 1.0),
    cell=st.builds(
        Cell,
        st.just(E_MAX_KG),
        creep=st.lists(st.tuples(st.floats(-0.01, 0.01), st.floats(0.1, 1e4)), max_size=2).map(tuple),
        recovery=st.floats(0.0, 3.0),
        zero_effect_per_k=st.floats(-1e-4, 1e-4),
        span_effect_per_k=st.floats(-1e-4, 1e-4),
        thermal_time_constant_s=st.sampled_from([0.0, 1.0, 3000.0]),
    ),
)
def test_creep_and_warmth_are_linear_in_the_load(load: float, cell: Cell) -> None:
    """Twice the load gives twice what the load adds, at every sample, while no loop bends it."""
    made = one_cell(cell)

    def added(mass_kg: float) -> NDArray[np.float64]:
        running = scale(made)
        running.change(at(made, 30.0), S // 2)
        if mass_kg:
            running.do(Place("load", mass_kg, 4.0, 1.5), S)
            running.do(Remove("load"), 3 * S)
        return output_mv_per_v(running.read(0, 5 * S))[:, 0]

    none = added(0.0)
    one, two = added(0.4 * load * E_MAX_KG + 1.0) - none, added(0.8 * load * E_MAX_KG + 2.0) - none
    assert two == pytest.approx(2.0 * one, abs=1e-8)


@given(at_m=st.tuples(st.floats(0.0, 8.0), st.floats(0.0, 3.0)), mass_kg=st.floats(1.0, 1e5))
def test_what_the_cells_say_adds_up_to_what_stands_on_the_deck(
    at_m: tuple[float, float], mass_kg: float
) -> None:
    """Ideal cells: the sum of their masses is the load's, wherever it stands."""
    running = scale(parts(Cell(1e6), CORNERS))
    running.do(Place("load", mass_kg, *at_m), S)
    said_kg = output_mv_per_v(running.read(0, 20 * S))[-1].sum() / 2.0 * 1e6
    assert said_kg == pytest.approx(mass_kg, abs=4e-3)
    assert running.true_cells_kg(np.array([20 * S])).sum() == pytest.approx(mass_kg, rel=1e-12)
