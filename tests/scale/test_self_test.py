"""What a node's self-test finds: open, short, out of range, no excitation, or good."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchsim.scale import self_test
from benchsim.scale.bridge import terminals_ohm
from benchsim.scale.parts import Cell, Digitiser, Wiring
from benchsim.scale.self_test import GOOD, NO_EXCITATION, OPEN, RANGE, SHORT, self_tests
from tests.scale.made import parts

CELL = Cell(30_000.0)


@pytest.mark.parametrize(
    ("cell", "wiring", "found"),
    [
        (CELL, Wiring(), GOOD),
        (CELL, Wiring(2.0, sensed=False), GOOD),
        (CELL, Wiring(open=("SIG+",)), OPEN),
        (replace(CELL, open_arms=("EXC+/SIG+", "SIG+/EXC-")), Wiring(), OPEN),
        (CELL, Wiring(shorts=(("SIG+", "SIG-", 0.0),)), SHORT),
        (CELL, Wiring(shorts=(("EXC+", "EXC-", 5.0),)), SHORT),
        (CELL, Wiring(shorts=(("SIG+", "SIG-", 1e5),)), GOOD),
        (CELL, Wiring(open=("EXC+",)), NO_EXCITATION),
        (CELL, Wiring(open=("SEN+", "SEN-")), NO_EXCITATION),
        (replace(CELL, zero_balance_mv_per_v=4.5), Wiring(), RANGE),
        (replace(CELL, open_arms=("EXC+/SIG+",)), Wiring(), RANGE),
    ],
)
def test_each_state_has_its_cause(cell: Cell, wiring: Wiring, found: str) -> None:
    assert self_test.tested(cell, wiring, Digitiser()) == found


def test_a_channel_is_tested_by_itself_and_one_without_a_converter_is_open() -> None:
    made = parts(digitiser=Digitiser(missing=(3,)))
    wiring = (Wiring(open=("SIG-",)), *made.wiring[1:])
    assert self_tests(replace(made, wiring=wiring), 0) == (OPEN, GOOD, GOOD, OPEN)


def test_a_meter_at_the_terminals_reads_the_bridge_by_ohm_s_law() -> None:
    """A bridge of four R is R between either pair; series and parallel by hand."""
    assert terminals_ohm(CELL, Wiring(), "EXC+", "EXC-") == pytest.approx(385.0)
    assert terminals_ohm(CELL, Wiring(), "SIG+", "SIG-") == pytest.approx(350.0)
    assert terminals_ohm(CELL, Wiring(3.0), "EXC+", "EXC-") == pytest.approx(391.0)
    leaky = Wiring(shorts=(("SIG+", "SIG-", 100.0),))
    assert terminals_ohm(CELL, leaky, "SIG+", "SIG-") == pytest.approx(350.0 * 100.0 / 450.0)
    assert terminals_ohm(CELL, Wiring(open=("EXC-",)), "EXC+", "EXC-") == float("inf")
