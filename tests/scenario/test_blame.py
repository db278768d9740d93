"""What another room refuses is blamed on the line that says it, in the file's own words."""

from __future__ import annotations

import pytest

from benchsim.ground.errors import BadInput
from benchsim.scenario.blame import placed
from benchsim.scenario.loader import load_text
from tests.scenario.texts import HEAD

TEXT = (
    HEAD + "cells:\n  rated output: 2 mV/V\n  at: [[0 m, 0 m], [2 m, 0 m], [1 m, 2 m]]\n"
    "  each:\n    - {cell: 2, zero balance: 1 mV/V}\n"
    "nodes:\n  each:\n    - {clock error: 1 ppm}\nsite: {gravity: 9.8 m/s2}\n"
)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ("cell 1, rated_output_mv_per_v: 0", "s.yaml:4:17: cell 1, rated output: 0"),
        ("cell 2, zero_balance_mv_per_v: inf", "s.yaml:7:31: cell 2, zero balance: inf"),
        ("cell 2, rated_output_mv_per_v: 0", "s.yaml:4:17: cell 2, rated output: 0"),
        ("cell 3, e_max_kg: 0", "s.yaml:4:3: cell 3, capacity: 0"),
        ("wiring 1, lead_resistance_ohm: -1", "s.yaml:4:3: wiring 1, lead resistance: -1"),
        ("support 3: the dead load lifts it", "s.yaml:5:32: support 3: the dead load lifts it"),
        ("station 1, bits: 99", "s.yaml:10:7: station 1, bits: 99"),
        ("receptor, length_m: 0", "s.yaml:2:8: receptor, length: 0"),
        ("site, gravity_m_per_s2: 0", "s.yaml:11:17: site, gravity: 0"),
        ("something else", "s.yaml:2:8: something else"),
    ],
)
def test_a_part_that_cannot_be_is_blamed_on_its_key_or_on_what_is_around_it(found: str, told: str) -> None:
    scenario = load_text(TEXT, "s.yaml")
    assert str(placed(BadInput(found), scenario.file, scenario.places)) == told
