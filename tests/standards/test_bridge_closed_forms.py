"""The bridge against the textbook: every figure here is a closed form of a bridge on its wires."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg

from benchsim.ground.readings import ChannelStatus
from benchsim.scale.bridge import Arms, channel, read_bridge
from benchsim.scale.circuit import Circuit
from benchsim.scale.parts import Cell, Wiring

R = 350.0
FOUR = Wiring(sensed=False)
CELL = Cell(30_000.0, rated_output_mv_per_v=2.0, input_resistance_ohm=R, output_resistance_ohm=R)


def mv_per_v(arms: Arms, wiring: Wiring = FOUR) -> float:
    found = read_bridge(arms, wiring)
    return 1000.0 * found.signal / found.reference


def test_four_active_arms_give_their_strain() -> None:
    """Four arms +-x: U / U_exc = x; 2 mV/V is x = 0.2 %."""
    assert mv_per_v(Arms.active(R, 0.002)) == pytest.approx(2.0, rel=1e-12)


def test_a_quarter_bridge_is_not_quite_linear() -> None:
    """x / (4 + 2 x): x = 0.002 gives 0.4995 mV/V, not 0.5."""
    found = mv_per_v(Arms(R, R * 1.002, R, R))
    assert found == pytest.approx(1000.0 * 0.002 / 4.004, rel=1e-11)
    assert round(found, 4) == 0.4995


def test_four_wires_lose_what_the_leads_take() -> None:
    """R_in / (R_in + leads): 350 ohm on 2 x 0.5 ohm gives 0.99715."""
    four = channel(CELL, Wiring(lead_resistance_ohm=0.5, sensed=False))
    assert four.gain == pytest.approx(350.0 / 351.0, rel=1e-11)
    assert round(four.gain, 5) == 0.99715


@given(lead_ohm=st.floats(0.0, 50.0))
def test_sense_wires_give_the_lead_loss_back(lead_ohm: float) -> None:
    six = channel(CELL, Wiring(lead_resistance_ohm=lead_ohm, sensed=True))
    assert six.gain == pytest.approx(1.0, abs=1e-9)
    assert six.offset_mv_per_v == 0.0


def test_a_shunt_over_one_arm_gives_its_known_signal() -> None:
    """R / (4 R_s + 2 R): 350 ohm, 60.4 kohm gives 1.44449 mV/V."""
    shunted = R * 60_400.0 / (R + 60_400.0)
    found = mv_per_v(Arms(shunted, R, R, R))
    assert found == pytest.approx(1000.0 * R / (4.0 * 60_400.0 + 2.0 * R), rel=1e-11)
    assert round(found, 5) == 1.44449


@pytest.mark.parametrize(
    ("broken", "mv"),
    [("plus_upper", -500.0), ("plus_lower", 500.0), ("minus_upper", 500.0), ("minus_lower", -500.0)],
)
@pytest.mark.parametrize("ohm", [math.inf, 0.0])
def test_an_open_or_shorted_arm_gives_half_the_excitation(broken: str, mv: float, ohm: float) -> None:
    """+-500 mV/V; the sign tells which diagonal, and is the other for a short."""
    arms = Arms(**dict.fromkeys(Arms.__slots__, R) | {broken: ohm})
    assert mv_per_v(arms) == pytest.approx(mv if ohm else -mv, rel=1e-12)


def test_a_crossed_pair_turns_the_sign_and_both_crossed_do_nothing() -> None:
    for sensed in (False, True):
        one = Wiring(2.0, sensed)
        right = channel(CELL, one)
        for pair in ("signal", "excitation"):
            crossed = channel(CELL, Wiring(2.0, sensed, swapped=(pair,)))
            assert crossed.gain == pytest.approx(-right.gain, rel=1e-11)
        both = channel(CELL, Wiring(2.0, sensed, swapped=("signal", "excitation")))
        assert both.gain == pytest.approx(right.gain, rel=1e-11)


@pytest.mark.parametrize("terminal", ["EXC+", "EXC-"])
def test_an_open_excitation_lead_looks_like_a_dead_cell_on_four_wires(terminal: str) -> None:
    found = channel(CELL, Wiring(sensed=False, open=(terminal,)))
    assert (found.gain, found.offset_mv_per_v, found.status) == (0.0, 0.0, ChannelStatus.GOOD)


@pytest.mark.parametrize("terminal", ["EXC+", "EXC-", "SEN+", "SEN-"])
def test_six_wires_find_a_lead_that_takes_the_reference_away(terminal: str) -> None:
    assert channel(CELL, Wiring(open=(terminal,))).status == ChannelStatus.REFERENCE


@pytest.mark.parametrize(("terminal", "sign"), [("SIG+", 1.0), ("SIG-", -1.0)])
def test_an_open_signal_lead_is_found_and_read_at_a_stop(terminal: str, sign: float) -> None:
    found = channel(CELL, Wiring(open=(terminal,)))
    assert found.status == ChannelStatus.OPEN
    assert found.gain == 0.0
    assert found.offset_mv_per_v * sign > 100.0


def test_a_sense_terminal_is_nothing_to_a_four_wire_cell() -> None:
    assert channel(CELL, Wiring(sensed=False, open=("SEN+",), leaks=(("SEN-", 1e3),))) == channel(CELL, FOUR)


@pytest.mark.parametrize(("terminal", "sign"), [("SIG+", -1.0), ("SIG-", 1.0)])
@pytest.mark.parametrize("leak_ohm", [1e5, 2e6, 1e8])
def test_a_leak_shifts_zero_as_its_divider_says(terminal: str, sign: float, leak_ohm: float) -> None:
    """A signal node has R/2 behind it and lies at half the excitation: U = 1/2 (R/2) / (R/2 + R_leak)."""
    found = channel(CELL, Wiring(leaks=((terminal, leak_ohm),)))
    expected = sign * 500.0 * (R / 2.0) / (R / 2.0 + leak_ohm)
    assert found.offset_mv_per_v == pytest.approx(expected, rel=1e-9)


def test_a_leak_sees_the_output_resistance_of_the_cell() -> None:
    """350 ohm in, 400 ohm out: 200 ohm behind each signal terminal."""
    cell = Cell(30_000.0, 2.0, input_resistance_ohm=350.0, output_resistance_ohm=400.0)
    found = channel(cell, Wiring(leaks=(("SIG-", 1e6),)))
    assert found.offset_mv_per_v == pytest.approx(500.0 * 200.0 / 1_000_200.0, rel=1e-9)


@pytest.mark.parametrize("terminal", ["SIG+", "SIG-", "EXC+"])
def test_a_leak_bends_the_line_by_less_than_a_millionth_of_rated_output(terminal: str) -> None:
    wiring = Wiring(lead_resistance_ohm=2.0, sensed=False, leaks=((terminal, 1e5),))
    line = channel(CELL, wiring)
    for output in (0.5, 1.0, 1.5, 2.0):
        exact = mv_per_v(Arms.active(R, output * 1e-3), wiring)
        assert abs(line.offset_mv_per_v + line.gain * output - exact) < 2e-6


@given(
    # A real conductor has a milliohm at least (3 cm of 0.5 mm2 copper); below that 1/R drowns in 16 digits.
    lead_ohm=st.just(0.0) | st.floats(1e-3, 20.0),
    input_ohm=st.floats(300.0, 450.0),
    output_ohm=st.floats(300.0, 450.0),
)
def test_trimming_resistors_change_the_lead_loss_but_not_the_rated_output(
    lead_ohm: float, input_ohm: float, output_ohm: float
) -> None:
    cell = Cell(30_000.0, 2.0, input_resistance_ohm=input_ohm, output_resistance_ohm=output_ohm)
    found = channel(cell, Wiring(lead_ohm, sensed=False))
    assert found.gain == pytest.approx(input_ohm / (input_ohm + 2.0 * lead_ohm), rel=1e-10)


def test_a_cell_without_output_is_read_as_nothing() -> None:
    found = channel(Cell(30_000.0, rated_output_mv_per_v=0.0), Wiring())
    assert (found.gain, found.offset_mv_per_v) == (1.0, 0.0)


def test_a_supply_that_a_leak_shorts_is_a_reference_out_of_range() -> None:
    found = channel(CELL, Wiring(leaks=(("EXC+", 1e-9),)))
    assert found.status == ChannelStatus.REFERENCE


OHM = st.floats(0.1, 1e6)


@given(
    resistors=st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7), OHM), min_size=1, max_size=20),
)
def test_any_net_of_resistors_is_solved_as_scipy_solves_its_matrix(
    resistors: list[tuple[int, int, float]],
) -> None:
    """Nodes 0 and 7 are held at 1 V and 0 V; a chain through all keeps the matrix regular."""
    resistors = [*resistors, *((n, n + 1, 1e3) for n in range(7))]
    circuit, matrix = Circuit(), np.zeros((8, 8))
    for a, b, ohm in resistors:
        circuit.resistor(str(a), str(b), ohm)
        if a != b:
            matrix[[a, b], [a, b]] += 1.0 / ohm
            matrix[[a, b], [b, a]] -= 1.0 / ohm
    inner = slice(1, 7)
    expected = linalg.solve(matrix[inner, inner], -matrix[inner, 0])
    found = circuit.voltages({"0": 1.0, "7": 0.0})
    assert [found[str(n)] for n in range(1, 7)] == pytest.approx(expected, abs=1e-9)


def test_a_node_with_no_way_to_the_supply_is_at_0_v() -> None:
    circuit = Circuit()
    circuit.resistor("a", "b", 10.0)
    circuit.resistor("c", "d", 10.0)
    circuit.resistor("b", "c", math.inf)
    assert circuit.voltages({"a": 1.0}) == {"a": 1.0, "b": 1.0, "c": 0.0, "d": 0.0}
