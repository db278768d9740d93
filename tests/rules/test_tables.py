"""Tolerances by load, and which intervals a class allows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.rules.profile import load_profile, profile_names
from benchsim.rules.tables import check_intervals, tolerance_d

PROFILES = [load_profile(name) for name in profile_names()]


@given(st.sampled_from(PROFILES), st.integers(0, 9_999))
def test_a_tolerance_never_falls_with_the_load(profile, load_d: int) -> None:  # type: ignore[no-untyped-def]
    for stage in profile.stages:
        assert 0 < tolerance_d(load_d, profile, stage) <= tolerance_d(load_d + 1, profile, stage)


@pytest.mark.parametrize("load_d", [-1, 10_001])
def test_a_load_outside_the_class_has_no_tolerance(load_d: int) -> None:
    with pytest.raises(BadInput, match="from 0 to 10000"):
        tolerance_d(load_d, load_profile("r76-iii"), "initial")


def test_an_unknown_stage_names_the_known_ones() -> None:
    with pytest.raises(BadInput, match="did you mean 'acceptance'"):
        tolerance_d(1, load_profile("hb44-iii"), "aceptance")


@pytest.mark.parametrize(
    ("name", "capacity", "interval", "says"),
    [
        ("hb44-iiil-vehicle", "60000", "20", []),
        ("hb44-iiil-vehicle", "60000", "15", ["15 kg is not 1, 2 or 5 times", "10 kg, 20 kg"]),
        ("hb44-iiil-vehicle", "60000", "1", ["at least 2 kg (Table 3)", "60000 intervals"]),
        ("hb44-iiil-vehicle", "20000", "20", ["1000 intervals", "from 2000 to 10000 (Table 3)"]),
        ("r76-iii", "1500", "0.5", []),
        ("r76-iii", "1500.2", "0.5", ["not a whole number of intervals", "1.5 t"]),
        ("r76-iii", "6000", "0.5", ["12000 intervals", "from 500 to 10000"]),
        ("r76-iii", "200", "0.5", ["400 intervals", "from 500 to 10000 (3.2, Table 3)"]),
        ("r76-iii", "0.2", "0.002", []),
        ("hb44-iii", "2.5", "0.005", []),
        ("hb44-iii", "2", "0.005", ["400 intervals", "from 500 to 10000 (Table 3)"]),
        ("r76-iii", "6000", "-1", ["positive interval"]),
        ("r76-iii", "6000", "NaN", ["positive interval"]),
    ],
)
def test_intervals_are_held_against_the_class(
    name: str, capacity: str, interval: str, says: list[str]
) -> None:
    wrong = check_intervals(Decimal(capacity), Decimal(interval), load_profile(name))
    text = "\n".join(map(str, wrong))
    assert bool(wrong) == bool(says)
    for words in says:
        assert words in text
