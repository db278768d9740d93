"""Any wiring, any damage: the bridge beside a circuit solver written separately, and beside closed forms.

The solver is a sparse tableau (Hachtel, Brayton and Gustavson, 1971): one unknown a node voltage and one a
branch current, one equation a branch (V_a - V_b = R I) and Kirchhoff's current law at each node; least
squares by SciPy.  It knows no conductances and joins no nodes, so it shares nothing with the code it checks.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg

from benchsim.ground.readings import ChannelStatus
from benchsim.scale.bridge import ARMS, PAIRS, TERMINALS, Arms, channel, read_bridge
from benchsim.scale.parts import Cell, Wiring

R = 350.0
FOUR, SIX = Wiring(sensed=False), Wiring(sensed=True)
CELL = Cell(30_000.0, rated_output_mv_per_v=2.0, input_resistance_ohm=R, output_resistance_ohm=R)
Branch = tuple[str, str, float]
INSULATION_OHM = 1e8  # of the open-wire test's pull, as bridge.py says


def tableau(branches: list[Branch]) -> tuple[dict[str, float], float]:
    """Node voltages with 1 V from EXC- to EXC+, and the current that the source gives."""
    nodes = sorted({n for a, b, _ in branches for n in (a, b)} | {"EXC+", "EXC-"})
    place = {n: i for i, n in enumerate(nodes)}
    count, size = len(nodes), len(nodes) + len(branches) + 1
    matrix, right = np.zeros((2 + len(branches) + count - 1, size)), np.zeros(2 + len(branches) + count - 1)
    matrix[0, place["EXC-"]] = 1.0
    matrix[1, place["EXC+"]], right[1] = 1.0, 1.0
    for row, (a, b, ohm) in enumerate(branches, 2):
        if math.isinf(ohm):
            matrix[row, count + row - 2] = 1.0
            continue
        matrix[row, place[a]] += 1.0
        matrix[row, place[b]] -= 1.0
        matrix[row, count + row - 2] = -min(1.0, ohm)
    # A branch of more than 1 ohm has its voltage for its unknown, so that all are of one size.
    unit = [1.0 if math.isinf(ohm) else ohm for _, _, ohm in branches]
    laws = [n for n in nodes if n != "EXC-"]
    for row, node in enumerate(laws, 2 + len(branches)):
        for column, (a, b, _) in enumerate(branches, count):
            matrix[row, column] += ((a == node) - (b == node)) / max(1.0, unit[column - count])
        matrix[row, -1] = -1.0 if node == "EXC+" else 0.0
        matrix[row] /= max(np.abs(matrix[row]).max(), 1e-12)
    solution = linalg.lstsq(matrix, right, cond=1e-14)[0]
    return dict(zip(nodes, solution, strict=False)), float(solution[-1])


def drawn(arms: Arms, wiring: Wiring) -> list[Branch]:
    """The circuit as it is drawn on paper: node, leads, cell."""
    branches = [
        ("post EXC+", "post SIG+", arms.plus_upper), ("post SIG+", "post EXC-", arms.plus_lower),
        ("post EXC+", "post SIG-", arms.minus_upper), ("post SIG-", "post EXC-", arms.minus_lower),
    ]  # fmt: skip
    ends = {
        "EXC+": "EXC+", "EXC-": "EXC-", "SIG+": "SIG+", "SIG-": "SIG-", "SEN+": "EXC+", "SEN-": "EXC-",
    }  # fmt: skip
    crossings = {
        "excitation": (("EXC+", "EXC-"), ("SEN+", "SEN-")), "signal": (("SIG+", "SIG-"),),
        "sense": (("SEN+", "SEN-"),),
    }  # fmt: skip
    for pair in wiring.swapped:
        for one, other in crossings[pair]:
            ends[one], ends[other] = ends[other], ends[one]
    here = TERMINALS if wiring.sensed else TERMINALS[:4]
    for terminal in here:
        screw = sum(ohm for t, ohm in wiring.contacts if t == terminal)
        way = math.inf if terminal in wiring.open else screw
        branches.append((terminal, f"screw {terminal}", way))
        branches.append((f"screw {terminal}", f"lead {terminal}", wiring.lead_resistance_ohm))
        branches.append((f"lead {terminal}", f"post {ends[terminal]}", 0.0))
    branches += [(f"lead {t}", "EXC-", ohm) for t, ohm in wiring.leaks if t in here]
    branches += [(a, b, ohm) for a, b, ohm in wiring.shorts if a in here and b in here]
    return branches


def expected(arms: Arms, wiring: Wiring) -> tuple[float, float, float]:
    """Signal, reference and how well this solver knows them.

    With the open-wire test, and with the driver's limit of a load of 40 ohm.
    """
    branches = drawn(arms, wiring)
    volts, source_a = tableau(branches)
    inputs = ("SIG+", "SIG-", "SEN+", "SEN-") if wiring.sensed else ("SIG+", "SIG-")
    high = {"SIG+": True, "SIG-": True, "SEN+": False, "SEN-": True}

    def pulled(up: bool) -> dict[str, float]:
        rails = [(t, "EXC+" if high[t] == up else "EXC-", INSULATION_OHM) for t in inputs]
        return tableau([*branches, *rails])[0]

    one, other = pulled(True), pulled(False)
    within = 2e-7
    for terminal in inputs:
        if abs(one[terminal] - other[terminal]) > 0.1:
            volts[terminal] = one[terminal]
            within = 2e-6  # a pull of 1e8 ohm beside milliohms costs least squares in doubles half its digits
    drive = min(1.0, 1.0 / (40.0 * source_a)) if source_a > 0.0 else 1.0
    sense = "SEN" if wiring.sensed else "EXC"
    signal, reference = volts["SIG+"] - volts["SIG-"], volts[f"{sense}+"] - volts[f"{sense}-"]
    return drive * signal, drive * reference, within


def agree(arms: Arms, wiring: Wiring) -> None:
    found = read_bridge(arms, wiring)
    signal, reference, within = expected(arms, wiring)
    assert (found.signal, found.reference) == pytest.approx((signal, reference), abs=within)


LOADED = Arms.active(R, 0.002)
ALL_SHORTS = list(itertools.combinations(TERMINALS, 2))


@pytest.mark.parametrize("sensed", [True, False])
@pytest.mark.parametrize("ohm", [0.05, 30.0, 2e6])
@pytest.mark.parametrize("pair", ALL_SHORTS, ids="/".join)
def test_a_short_of_any_two_terminals_is_what_the_circuit_says(
    pair: tuple[str, str], ohm: float, sensed: bool
) -> None:
    agree(LOADED, Wiring(1.5, sensed, shorts=((*pair, ohm),)))


@pytest.mark.parametrize("sensed", [True, False])
@pytest.mark.parametrize("count", [1, 2])
def test_any_one_or_two_open_terminals_are_what_the_circuit_says(count: int, sensed: bool) -> None:
    for terminals in itertools.combinations(TERMINALS, count):
        agree(LOADED, Wiring(1.5, sensed, open=terminals))


OHM = st.sampled_from([1e-3, 10.0, 1e6]) | st.floats(1e-3, 1e6)
ARM = st.sampled_from([0.0, R, math.inf]) | st.floats(100.0, 1000.0)
WIRING = st.builds(
    Wiring,
    st.floats(0.01, 50.0),
    st.booleans(),
    st.lists(st.sampled_from(TERMINALS), max_size=2, unique=True).map(tuple),
    st.lists(st.sampled_from(PAIRS), max_size=2, unique=True).map(tuple),
    st.lists(st.tuples(st.sampled_from(TERMINALS), OHM), max_size=2).map(tuple),
    st.lists(st.tuples(st.sampled_from(TERMINALS), OHM), max_size=2).map(tuple),
    st.lists(st.sampled_from(ALL_SHORTS).flatmap(lambda p: st.tuples(*map(st.just, p), OHM)), max_size=2).map(
        tuple
    ),
)


@given(ohms=st.tuples(*[ARM] * 4), wiring=WIRING)
def test_any_bridge_on_any_wiring_is_what_the_circuit_says(
    ohms: tuple[float, float, float, float], wiring: Wiring
) -> None:
    agree(Arms(*ohms), wiring)


# -- closed forms of single faults -------------------------------------------------------------------------


@pytest.mark.parametrize("ohm", [1.0, 350.0, 1e5])
def test_a_resistance_over_the_signal_pair_divides_with_the_output_resistance(ohm: float) -> None:
    """Thevenin: the bridge is its open output behind R; gain R_s / (R_s + R), up to x^2."""
    found = channel(CELL, replace(SIX, shorts=(("SIG+", "SIG-", ohm),)))
    assert found.gain == pytest.approx(ohm / (ohm + R), rel=1e-5)
    assert found.offset_mv_per_v == 0.0


def test_a_short_of_the_signal_pair_looks_like_a_plausible_dead_cell() -> None:
    found = channel(CELL, replace(SIX, shorts=(("SIG+", "SIG-", 0.0),)))
    assert (found.gain, found.offset_mv_per_v, found.status) == (0.0, 0.0, ChannelStatus.GOOD)


@pytest.mark.parametrize(
    ("pair", "mv"),
    [
        (("EXC+", "SIG+"), 500.0),
        (("EXC-", "SIG-"), 500.0),
        (("EXC-", "SIG+"), -500.0),
        (("EXC+", "SIG-"), -500.0),
    ],
)
def test_a_signal_lead_on_an_excitation_lead_is_half_the_excitation(pair: tuple[str, str], mv: float) -> None:
    """The terminal stands at its rail, the other at half: +-U/2."""
    found = channel(CELL, replace(FOUR, shorts=((*pair, 0.0),)))
    assert found.offset_mv_per_v == pytest.approx(mv, rel=1e-9)


@pytest.mark.parametrize(
    "pair", [("EXC+", "EXC-"), ("EXC+", "SEN-"), ("EXC-", "SEN+"), ("SEN+", "SEN-")], ids="/".join
)
@pytest.mark.parametrize("lead_ohm", [0.0, 1.0])
def test_a_short_across_the_supply_takes_the_reference_away(pair: tuple[str, str], lead_ohm: float) -> None:
    assert channel(CELL, Wiring(lead_ohm, shorts=((*pair, 0.0),))).status == ChannelStatus.REFERENCE


@pytest.mark.parametrize("sign", "+-")
def test_a_sense_terminal_on_its_own_excitation_terminal_senses_at_the_wrong_place(sign: str) -> None:
    """The two conductors carry the current in parallel, r/2, and their drop is no longer sensed:
    R_in / (R_in + r/2)."""
    found = channel(CELL, Wiring(4.0, shorts=((f"EXC{sign}", f"SEN{sign}", 0.0),)))
    assert found.gain == pytest.approx(350.0 / 352.0, rel=1e-9)
    assert found.status == ChannelStatus.GOOD


@pytest.mark.parametrize("terminal", ["EXC+", "EXC-"])
def test_a_poor_contact_costs_four_conductors_span_and_six_nothing(terminal: str) -> None:
    """R_in / (R_in + r) without sense, 1 with it."""
    contacts = ((terminal, 20.0),)
    assert channel(CELL, replace(FOUR, contacts=contacts)).gain == pytest.approx(350.0 / 370.0, rel=1e-10)
    assert channel(CELL, replace(SIX, contacts=contacts)).gain == pytest.approx(1.0, rel=1e-10)


@pytest.mark.parametrize(("arm", "sign"), list(zip(ARMS, (-1.0, 1.0, 1.0, -1.0), strict=True)))
@pytest.mark.parametrize("x", [0.0002, -0.001, 0.05])
def test_one_drifting_arm_shifts_zero_as_a_quarter_bridge(arm: str, sign: float, x: float) -> None:
    """x / (4 + 2 x) of the excitation; the sign tells which diagonal."""
    found = channel(replace(CELL, arm_shifts=((arm, x),)), SIX)
    assert found.offset_mv_per_v == pytest.approx(sign * 1000.0 * x / (4.0 + 2.0 * x), rel=1e-9)
    assert found.gain == pytest.approx(1.0, abs=abs(x))


@pytest.mark.parametrize(("arm", "mv"), list(zip(ARMS, (-500.0, 500.0, 500.0, -500.0), strict=True)))
def test_an_open_arm_is_half_the_excitation(arm: str, mv: float) -> None:
    found = channel(replace(CELL, open_arms=(arm,)), SIX)
    assert found.offset_mv_per_v == pytest.approx(mv, rel=1e-9)
    assert found.status == ChannelStatus.GOOD  # the bridge is there; the converter says HIGH or LOW


def test_two_open_arms_at_one_signal_terminal_leave_nothing_behind_it() -> None:
    assert channel(replace(CELL, open_arms=ARMS[:2]), SIX).status == ChannelStatus.OPEN


@pytest.mark.parametrize(("terminal", "mv"), [("EXC-", 500.0), ("EXC+", -500.0)])
def test_a_common_mode_at_a_rail_shows_by_the_converter_s_rejection(terminal: str, mv: float) -> None:
    """Four conductors, one EXC open: both inputs at one rail, U/2 off the middle; 100 dB leave 1e-5."""
    found = channel(CELL, replace(FOUR, open=(terminal,)), common_mode_error=1e-5)
    assert found.offset_mv_per_v == pytest.approx(1e-5 * mv, rel=1e-9)
    assert channel(CELL, FOUR, common_mode_error=1e-5).offset_mv_per_v == 0.0


def test_crossed_sense_conductors_turn_the_reference_and_are_found() -> None:
    assert channel(CELL, replace(SIX, swapped=("sense",))).status == ChannelStatus.REFERENCE
    assert channel(CELL, replace(FOUR, swapped=("sense",))) == channel(CELL, FOUR)


def test_a_driver_gives_no_more_than_a_load_of_40_ohm_takes() -> None:
    """At 30 ohm its voltage is 3/4, a good reference and the same ratio; at 15 ohm it is out of range."""
    light, heavy = (
        replace(CELL, input_resistance_ohm=ohm, output_resistance_ohm=ohm) for ohm in (30.0, 15.0)
    )
    assert channel(light, SIX).gain == pytest.approx(1.0, abs=1e-9)
    assert channel(light, SIX).status == ChannelStatus.GOOD
    assert channel(heavy, SIX).status == ChannelStatus.REFERENCE


@pytest.mark.parametrize(("ohm", "status"), [(5e6, ChannelStatus.GOOD), (2e7, ChannelStatus.OPEN)])
@pytest.mark.parametrize("terminal", ["SIG+", "SIG-"])
def test_the_open_wire_test_finds_a_contact_as_bad_as_no_contact(
    terminal: str, ohm: float, status: ChannelStatus
) -> None:
    """Pulled to both rails by 1e8 ohm an input moves by R / (R + 1e8): 5 % is a source, 17 % is none."""
    found = channel(CELL, replace(SIX, contacts=((terminal, ohm),)))
    assert found.status == status
    if status is ChannelStatus.GOOD:  # an input that takes no current loses nothing on the way
        assert (found.gain, found.offset_mv_per_v) == pytest.approx((1.0, 0.0), abs=1e-9)
