"""Tolerances by load, and which intervals a class allows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.rules.profile import Profile, load_profile, profile_names
from benchsim.rules.tables import band_ends, check_intervals, tolerance_d

PROFILES = [load_profile(name) for name in profile_names()]


@given(st.sampled_from(PROFILES), st.data())
def test_a_tolerance_never_falls_with_the_load(profile: Profile, data: st.DataObject) -> None:
    load_d = data.draw(st.integers(0, (profile.n_max or 10**9) - 1))
    for stage in profile.stages:
        assert 0 < tolerance_d(load_d, profile, stage) <= tolerance_d(load_d + 1, profile, stage)


@given(st.sampled_from(PROFILES), st.data())
def test_what_is_new_is_allowed_half_of_what_is_in_use(profile: Profile, data: st.DataObject) -> None:
    """T.N.3.2 (memory): acceptance is half of maintenance; R 76-1 3.5.2 (seen): in service twice initial."""
    load_d = data.draw(st.integers(0, profile.n_max or 10**9))
    new, used = sorted(tolerance_d(load_d, profile, stage) for stage in profile.stages)
    assert used == 2 * new
    assert {"acceptance", "initial"} & set(profile.stages)


@given(st.sampled_from(PROFILES), st.integers(1, 10**9))
def test_between_two_ends_of_bands_the_tolerance_does_not_change(profile: Profile, load_d: int) -> None:
    ends = band_ends(profile, 10**9)
    assert ends == sorted(set(ends))
    load_d = min(load_d, ends[-1])
    end = next(end for end in ends if load_d <= end)
    stage = profile.stages[0]
    assert tolerance_d(load_d, profile, stage) == tolerance_d(end, profile, stage)


def test_the_ends_of_bands_are_where_the_tolerance_steps() -> None:
    """SI/98-81 s. 8 (seen): 500, then every 800 until 22 e are reached, which hold without an end."""
    ends = band_ends(load_profile("canada-iii-hd"), 10**9)
    assert ends == [*range(500, 16_501, 800), 10**9]


def test_a_last_step_without_an_end_ends_where_the_class_does() -> None:
    assert load_profile("hb44-iii").tolerance.bands[-1] == (10_000, Decimal(5))
    assert load_profile("hb44-ii").tolerance.bands[-1] == (100_000, Decimal(3))
    assert load_profile("hb44-i").tolerance.bands[-1] == (None, Decimal(3))


def test_a_class_without_a_largest_number_has_a_tolerance_for_any_load() -> None:
    profile = load_profile("r76-i")
    assert profile.n_max is None
    assert tolerance_d(10**15, profile, "initial") == Decimal("1.5")
    with pytest.raises(BadInput, match="tolerances from 0 on"):
        tolerance_d(-1, profile, "initial")


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
        ("r76-i", "5000", "0.001", []),
        ("r76-i", "0.04", "0.000001", ["40000 intervals", "at least 50000 (3.2, Table 3)"]),
        ("r76-ii", "10", "0.0001", []),
        ("r76-ii", "0.4", "0.0001", ["4000 intervals", "from 5000 to 100000"]),
        ("canada-iii-hd", "300000", "2", []),
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
