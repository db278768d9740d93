"""The rule profiles against the published tables, row by row, each value with how well it is known.

NIST Handbook 44 section 2.20, OIML R 76-1:2006, Canada SI/98-81.  seen: read in a source text; memory:
recalled, to be confirmed before anybody relies on it.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from benchsim.rules.profile import load_profile, profile_names
from benchsim.rules.tables import tolerance_d

Steps = list[tuple[int | None, int]]
# HB 44 Table 6, T.N.3.1: (last load of each step, d); None: "and more".
HB44_TABLE_6: dict[str, tuple[Steps, str]] = {
    "hb44-i": ([(50_000, 1), (200_000, 2), (None, 3)], "memory"),
    "hb44-ii": ([(5_000, 1), (20_000, 2), (None, 3)], "memory"),
    "hb44-iii": ([(500, 1), (2_000, 2), (4_000, 3), (None, 5)], "seen"),
    "hb44-iiii": ([(50, 1), (200, 2), (400, 3), (None, 5)], "memory"),
}
# R 76-1 Table 6, initial verification, in half e.
R76_TABLE_6: dict[str, tuple[Steps, str]] = {
    "r76-i": ([(50_000, 1), (200_000, 2), (None, 3)], "seen"),
    "r76-ii": ([(5_000, 1), (20_000, 2), (100_000, 3)], "seen"),
    "r76-iii": ([(500, 1), (2_000, 2), (10_000, 3)], "seen"),
    "r76-iiii": ([(50, 1), (200, 2), (1_000, 3)], "seen"),
}
HEAVY = tuple(name for name in profile_names() if name.startswith("hb44-iiil"))
# Table 3: smallest interval in kg, n min where it is fine, from an interval on, n max.
TABLE_3 = {
    "hb44-i": ("0.000001", 50_000, None, None, "memory"),
    "hb44-ii": ("0.000001", 100, ("0.0001", 5_000), 100_000, "seen"),
    "hb44-iii": ("0.0001", 100, ("0.005", 500), 10_000, "seen"),
    **dict.fromkeys(HEAVY, ("2", 2_000, None, 10_000, "memory")),
    "hb44-iiii": ("0.005", 100, None, 1_200, "memory"),
    "r76-i": ("0.000001", 50_000, None, None, "seen"),
    "r76-ii": ("0.000001", 100, ("0.0001", 5_000), 100_000, "seen"),
    "r76-iii": ("0.0001", 100, ("0.005", 500), 10_000, "seen"),
    "r76-iiii": ("0.005", 100, None, 1_000, "seen"),
    "canada-iii-hd": ("2", 2_000, None, None, "seen"),
}
# R 76-1 Table 3 (seen) and HB 44 Table 8 (memory, with doubt): smallest load fine, coarse from 0.1 g on.
SMALLEST_LOAD = {
    "r76-i": (100, 100),
    "r76-ii": (20, 50),
    "r76-iii": (20, 20),
    "r76-iiii": (10, 10),
    "hb44-i": (100, 100),
    "hb44-ii": (20, 50),
    "hb44-iii": (20, 20),
    "hb44-iiil-vehicle": (50, 50),
    "hb44-iiii": (10, 10),
}
# Load: COMPARED, in its order.
COMPARISON = {
    500: "1 0.5  1 0.5  1 0.5  1 0.5",
    501: "2 1  2 1  2 1  2 1",
    1_250: "3 1.5  2 1  2 1  2 1",
    2_500: "5 2.5  3 1.5  3 1.5  4 2",
    5_000: "10 5  5 2.5  3 1.5  7 3.5",
    10_000: "20 10  5 2.5  3 1.5  13 6.5",
}
COMPARED = (
    ("hb44-iiil-vehicle", "maintenance"), ("hb44-iiil-vehicle", "acceptance"),
    ("hb44-iii", "maintenance"), ("hb44-iii", "acceptance"),
    ("r76-iii", "in service"), ("r76-iii", "initial"),
    ("canada-iii-hd", "in service"), ("canada-iii-hd", "acceptance"),
)  # fmt: skip


@pytest.mark.parametrize("load_d", COMPARISON)
def test_the_four_rule_sets_compare_as_computed_from_their_tables(load_d: int) -> None:
    found = [tolerance_d(load_d, load_profile(name), stage) for name, stage in COMPARED]
    assert found == [Decimal(word) for word in COMPARISON[load_d].split()]


@pytest.mark.parametrize("name", HB44_TABLE_6)
def test_each_step_of_hb44_table_6_is_exact_on_both_sides(name: str) -> None:
    steps, mark = HB44_TABLE_6[name]
    exact_on_both_sides(name, steps, "maintenance", Decimal(1))
    exact_on_both_sides(name, steps, "acceptance", Decimal("0.5"))
    assert load_profile(name).entry("bands").mark == mark


@pytest.mark.parametrize("name", R76_TABLE_6)
def test_each_step_of_r76_table_6_is_exact_on_both_sides(name: str) -> None:
    steps, mark = R76_TABLE_6[name]
    exact_on_both_sides(name, steps, "initial", Decimal("0.5"))
    exact_on_both_sides(name, steps, "in service", Decimal(1))
    assert load_profile(name).entry("bands").mark == mark


def exact_on_both_sides(name: str, steps: Steps, stage: str, factor: Decimal) -> None:
    profile, start = load_profile(name), 0
    for top, allowed in steps:
        end = top or profile.n_max or 10**8
        for load_d in (start, end):
            assert tolerance_d(load_d, profile, stage) == allowed * factor, (name, stage, load_d)
        start = end + 1


@pytest.mark.parametrize("name", HEAVY)
def test_every_kind_of_class_iii_l_has_one_d_more_for_each_500_d_or_part(name: str) -> None:
    """HB 44 Table 6 (memory): max(1, ceil(n / 500)) d."""
    profile = load_profile(name)
    for load_d in (0, 1, 499, 500, 501, 1_000, 1_001, 4_999, 5_000, 5_001, 9_999, 10_000):
        assert tolerance_d(load_d, profile, "maintenance") == max(1, -(-load_d // 500))
    assert (profile.entry("bands").mark, profile.entry("beyond").mark) == ("memory", "memory")


@pytest.mark.parametrize(
    "name", ["hb44-iii-bench", "hb44-iii-computing", "hb44-iii-hopper", "hb44-iii-on-board"]
)
def test_every_kind_of_class_iii_has_the_steps_of_its_class(name: str) -> None:
    assert load_profile(name).tolerance == load_profile("hb44-iii").tolerance


def test_canada_class_iii_has_1_2_and_3_e_in_service() -> None:
    """SI/98-81 s. 8: 1, 2, 3 e and acceptance half (seen); the loads are those of R 76-1 Table 6."""
    steps: Steps = [(500, 1), (2_000, 2), (10_000, 3)]
    exact_on_both_sides("canada-iii", steps, "in service", Decimal(1))
    exact_on_both_sides("canada-iii", steps, "acceptance", Decimal("0.5"))


@pytest.mark.parametrize("name", TABLE_3)
def test_the_class_has_the_intervals_of_table_3(name: str) -> None:
    smallest, n_min, coarse, n_max, mark = TABLE_3[name]
    profile = load_profile(name)
    assert profile.smallest_interval_kg == Decimal(smallest)
    assert (profile.n_min, profile.n_max) == (n_min, n_max)
    assert profile.n_min_coarse == (None if coarse is None else (Decimal(coarse[0]), coarse[1]))
    assert {profile.entry(key).mark for key in ("smallest_interval_kg", "n_min", "n_max")} == {mark}


def test_canada_class_iiii_has_100_to_1200_intervals() -> None:
    """SI/98-81 s. 3 (seen)."""
    profile = load_profile("canada-iiii")
    assert (profile.n_min, profile.n_max, profile.entry("n_max").mark) == (100, 1_200, "seen")


@pytest.mark.parametrize(
    ("name", "pounds", "ounces"),
    [
        # HB 44 Table 3 (memory): from this interval on, so many at least.
        ("hb44-iii", [("0.0002", 100), ("0.01", 500)], [("0.005", 100), ("0.25", 500)]),
        ("hb44-iiil-vehicle", [("5", 2_000)], None),
        # Above 0.01 lb and above 0.25 oz; intervals are 1, 2 or 5 times a power of ten (S.1.2).
        ("hb44-iiii", [("0.02", 100)], [("0.5", 100)]),
        ("hb44-ii", None, None),
        ("hb44-i", None, None),
    ],
)
def test_scales_in_pounds_and_ounces_have_intervals_of_their_own(name: str, pounds: Any, ounces: Any) -> None:
    profile = load_profile(name)
    for found, right in ((profile.n_min_lb, pounds), (profile.n_min_oz, ounces)):
        assert found == (None if right is None else tuple((Decimal(d), n) for d, n in right))


@pytest.mark.parametrize("name", SMALLEST_LOAD)
def test_the_smallest_load_is_that_of_the_class(name: str) -> None:
    profile = load_profile(name)
    fine, coarse = SMALLEST_LOAD[name]
    assert profile.min_load_of(Decimal("0.00005")) == fine
    assert profile.min_load_of(Decimal("0.0001")) == coarse
    assert ("doubt" in profile.entry("min_load_d").clause) == name.startswith("hb44")
    # Directive 2014/31/EU (seen): 5 e for conveying tariffs, classes II and III.
    assert profile.min_load_tariff_d == (5 if name in ("r76-ii", "r76-iii") else None)


# HB 44 S.2.5.1, S.2.1.3.2, S.2.1.3.1 (memory): stable within; tracking takes, made from 2007 and before.
BY_KIND = {
    "hb44-i": ("1", "0.5", "1"),
    "hb44-iii": ("1", "0.5", "1"),
    "hb44-iii-bench": ("1", "0.5", "0.6"),
    "hb44-iii-computing": ("1", "0.5", "0.6"),
    "hb44-iii-hopper": ("1", "0.5", "1"),
    "hb44-iii-on-board": ("1", "0.5", "1"),
    "hb44-iiil-on-board": ("1", "0.5", "1"),
    "hb44-iiil-vehicle": ("3", "3", "3"),
    "hb44-iiil-axle-load": ("3", "3", "3"),
    "hb44-iiil-railway-track": ("3", "3", "3"),
    "hb44-iiil-livestock": ("3", "0.5", "0.6"),
}


@pytest.mark.parametrize("name", BY_KIND)
def test_motion_and_zero_tracking_are_those_of_the_kind(name: str) -> None:
    profile = load_profile(name)
    found = (
        profile.motion_band_d,
        profile.zero_tracking_window_d,
        profile.zero_tracking_window_before_2007_d,
    )
    assert found == tuple(map(Decimal, BY_KIND[name]))
    assert profile.zero_tracking_switch is (True if "iiil" in name else None)  # S.2.1.3.3 (memory)


@pytest.mark.parametrize(("name", "most"), [("hb44-iii", 10_500), ("hb44-iii-computing", 10_009)])
def test_nothing_is_shown_above_105_percent_or_9_d_on_a_computing_scale(name: str, most: int) -> None:
    """HB 44 S.1.7(a), (b) (memory)."""
    assert load_profile(name).overload_limit_d(10_000) == most


@pytest.mark.parametrize("name", profile_names())
def test_zero_tare_and_record_wait_for_stable_equilibrium_under_every_rule_set(name: str) -> None:
    """R 76-1 4.4.2, HB 44 S.2.5.1 for records (memory); SI/98-81 s. 45 (seen), and so for HB 44's zero."""
    profile = load_profile(name)
    assert profile.zero_when_stable
    assert profile.tare_when_stable
    assert profile.record_when_stable


# name: creep in 30 min, from 15 to 30 min, else within tolerance over minutes; zero return.
OVER_TIME = {
    "hb44-ii": ("0.5", "0.2", 240, "0.5", None, None),
    "hb44-iii": ("0.5", "0.2", 240, "0.5", (4_000, "0.83"), None),
    "hb44-iiii": ("0.5", "0.2", 240, "0.5", None, None),
    "hb44-iiil-vehicle": ("1.5", "0.6", 240, None, None, "0.5"),
    "r76-ii": ("0.5", "0.2", 240, "0.5", None, None),
    "r76-iii": ("0.5", "0.2", 240, "0.5", None, None),
    "r76-i": (None, None, None, "0.5", None, None),
    "canada-iii": (None, None, 60, None, None, None),
}


@pytest.mark.parametrize("name", OVER_TIME)
def test_creep_and_zero_return_are_those_of_the_class(name: str) -> None:
    """HB 44 T.N.4.5.1 to .3, R 76-1 3.9.4.1, 3.9.4.2 (memory); SI/98-81 s. 17 (seen)."""
    tests = load_profile(name).tests
    thirty, fifteen, minutes, zero, above, share = OVER_TIME[name]
    found = (tests.creep_30min_d, tests.creep_15_to_30min_d, tests.zero_return_d, tests.zero_return_share)
    assert found == tuple(None if x is None else Decimal(x) for x in (thirty, fifteen, zero, share))
    assert tests.creep_in_tolerance_min == minutes
    assert tests.zero_return_above == (None if above is None else (above[0], Decimal(above[1])))


D, F = Decimal, Fraction
# One line a published figure: profile, key, value, mark.
FIGURES: list[tuple[str, str, Any, str]] = [
    ("hb44-iii", "centre_of_zero_d", D("0.25"), "memory"),  # S.1.1.1
    ("hb44-iii", "zero_stands_within_d", D("0.5"), "memory"),
    ("hb44-iii", "zero_set_within_d", D("0.25"), "memory"),
    ("hb44-iii", "centre_of_zero_net", True, "memory"),
    ("hb44-iii", "initial_zero_range", D("0.2"), "memory"),  # S.2.1.5
    ("hb44-iii", "tare_interval_d", 1, "memory"),  # S.2.3
    ("hb44-iii", "tare_above_zero_only", True, "memory"),
    ("hb44-iii", "tare_clears_after_use", True, "memory"),
    ("hb44-iii", "eccentricity_load", F(1, 3), "memory"),  # N.1.3.7
    ("hb44-iii", "eccentricity_support_load", F(1, 4), "memory"),
    ("hb44-iii", "eccentricity_stage", "maintenance", "memory"),  # T.N.4.4
    ("hb44-iii", "repeatability_stage", "maintenance", "memory"),  # T.N.5
    ("hb44-iii", "discrimination_load_d", D("1.4"), "memory"),  # T.N.7.2
    ("hb44-iii", "discrimination_change_d", 2, "memory"),
    ("hb44-iii", "zone_of_uncertainty_d", D("0.3"), "memory"),
    ("hb44-iii", "zero_shift_d", 1, "memory"),  # T.N.8.1.3
    ("hb44-iii", "zero_shift_per_k", 5, "memory"),
    ("hb44-iii", "disturbance_d", 1, "memory"),  # T.N.9
    ("hb44-iii", "main_element_fraction", D("0.7"), "memory"),  # T.N.3.5
    ("hb44-iii", "fractions", (("load cell marked S", D("0.7")), ("load cell marked M", D(1))), "memory"),
    ("hb44-iii", "cell_creep_30min", 1, "memory"),  # T.N.4.6
    ("hb44-iii", "cell_creep_20_to_30min", D("0.15"), "memory"),
    ("hb44-iii", "indicators_differ_d", 0, "memory"),  # G-S.5.2.2
    ("hb44-iii", "limits_count_in", "d", "seen"),
    ("r76-iii", "limits_count_in", "e", "memory"),  # 3.5.1
    ("canada-iii", "limits_count_in", "e", "seen"),  # s. 3
    ("hb44-iii", "category_1", "physical seal, or the event counters", "memory"),  # S.1.11
    ("hb44-iii", "category_2", "physical seal, or the event counters; the mode is shown", "memory"),
    ("hb44-iii", "category_3", "event logger", "memory"),
    ("hb44-iii", "log_fields", ("event counter", "parameter", "date", "time", "new value"), "memory"),
    ("hb44-iii", "event_counters", ("calibration", "configuration"), "memory"),  # S.1.11
    ("hb44-iii", "event_counter_top", 999, "memory"),
    ("hb44-iii", "log_per_parameter", 10, "memory"),
    ("hb44-iii", "log_enough", 1000, "memory"),
    ("hb44-iii", "log_printable", True, "memory"),
    ("hb44-iiil-vehicle", "zero_shift_d", 3, "memory"),
    ("hb44-iiil-vehicle", "fractions", (("load cell", D("0.5")),), "memory"),
    ("hb44-iiil-vehicle", "shift_load", D("0.125"), "memory"),  # N.1.3.3.1
    ("hb44-iiil-vehicle", "shift_area_m", (D("1.2"), D(3)), "memory"),
    ("hb44-iiil-vehicle", "shift_concentrated", D("0.9"), "memory"),
    ("hb44-iiil-vehicle", "eccentricity_load", None, "memory"),
    ("hb44-iiil-vehicle", "covers", "vehicle scales", "seen"),  # Table 7a
    ("hb44-iiil-axle-load", "covers", "axle-load scales", "seen"),
    ("hb44-iiil-axle-load", "eccentricity_load", F(1, 3), "memory"),
    ("hb44-iiil-livestock", "covers", "livestock scales", "seen"),
    ("hb44-iiil-railway-track", "covers", "railway track scales", "seen"),
    ("hb44-iiil-on-board", "covers", "on-board systems above 30 000 lb", "seen"),
    ("hb44-iii-on-board", "covers", "on-board systems up to 30 000 lb", "seen"),
    ("r76-iii", "for_net", True, "memory"),  # 3.5.3
    ("r76-iii", "rounding_counts_up_to", D("0.2"), "memory"),
    ("r76-iii", "repeatability_stage", "as tested", "seen"),  # 3.6.1
    ("r76-iii", "eccentricity_load", F(1, 3), "seen"),  # 3.6.2
    ("r76-iii", "eccentricity_supports", 4, "seen"),
    ("r76-iii", "eccentricity_rolling", D("0.8"), "seen"),
    ("r76-iii-hopper", "eccentricity_load", F(1, 10), "seen"),
    ("r76-iii-hopper", "eccentricity_supports", None, "seen"),
    ("r76-iii", "indicators_differ_d", 0, "memory"),  # 3.6.3
    ("r76-iii", "discrimination_load_d", D("1.4"), "memory"),  # 3.8.2.2
    ("r76-iii", "discrimination_change_d", 1, "memory"),  # A.4.8
    ("r76-iii", "discrimination_from_kg", D("0.000005"), "memory"),
    ("r76-iii", "tilt_per_mille", 50, "memory"),  # 3.9.1
    ("r76-iii", "tilt_zero_shift_d", 2, "seen"),
    ("r76-iii", "zero_shift_d", 1, "memory"),  # 3.9.2.3
    ("r76-iii", "zero_shift_per_k", 5, "memory"),
    ("r76-i", "zero_shift_per_k", 1, "memory"),
    ("r76-iii", "overload_divisions", 9, "memory"),  # 4.2.3
    ("r76-iii", "overload_last_range", 9, "memory"),
    ("r76-iii", "record_within_d", 1, "memory"),  # 4.4.2, A.4.12
    ("r76-iii", "record_watched_ms", 5000, "memory"),
    ("r76-iii", "record_neighbours", 2, "memory"),
    ("r76-iii", "zero_set_within_d", D("0.25"), "memory"),  # 4.5.2
    ("r76-iii", "centre_of_zero_spared_d_per_s", D("0.25"), "memory"),  # 4.5.5
    ("r76-iii", "automatic_zero_after_ms", 5000, "memory"),  # 4.5.6
    ("r76-iii", "zero_tracking_rate_d_per_s", D("0.5"), "memory"),  # 4.5.7
    ("r76-iii", "zero_tracking_range_net", D("0.04"), "memory"),
    ("r76-iii", "tare_interval_d", 1, "memory"),  # 4.6.2, 4.6.3
    ("r76-iii", "tare_set_within_d", D("0.25"), "memory"),
    ("r76-iii", "net_is_told", True, "memory"),  # 4.6.5, 4.6.6
    ("r76-iii", "load_above_max_told", True, "memory"),
    ("r76-iii", "gross_signs", ("G", "B"), "memory"),  # 4.6.11, 4.7.3
    ("r76-iii", "net_signs", ("N",), "memory"),
    ("r76-iii", "tare_signs", ("T",), "memory"),
    ("r76-iii", "preset_tare_signs", ("PT",), "memory"),
    ("r76-iii", "fraction_range", (D("0.3"), D("0.8")), "memory"),  # 3.10.2.1
    ("r76-iii", "fraction_digital", 0, "memory"),
    ("r76-iii", "fraction_weighing_module", 1, "memory"),
    ("r76-iii", "fraction_squares", 1, "memory"),
    ("r76-iii", "disturbance_d", 1, "memory"),  # 5.1
    ("r76-iii", "loads_at_first", 10, "memory"),  # A.4.4.1
    ("r76-iii", "loads", 5, "memory"),
    ("r76-iii", "small_weight_d", D("0.1"), "memory"),  # A.4.4.3
    ("r76-iii", "weighings", 10, "memory"),  # A.4.10
    ("r76-iii", "weighings_large", (D(1000), 3), "memory"),
    ("r76-iii", "weighings_in_use", 3, "memory"),  # 8.3.3
    ("r76-iiii", "weighings_in_use", 3, "memory"),
    ("r76-i", "weighings_in_use", 6, "memory"),
    ("r76-ii", "weighings_in_use", 6, "memory"),
    ("r76-iii", "weighings_in_use_load", D("0.8"), "memory"),
    ("r76-iii", "creep_temperature_k", 2, "memory"),  # A.4.11
    ("canada-iii", "fractions", (("module", D("0.7")),), "seen"),
    ("canada-iii", "repeatability_stage", "in service", "seen"),
    ("canada-iii", "eccentricity_stage", "in service", "seen"),
    ("canada-iii", "zero_setting_range", D("0.02"), "seen"),  # s. 42: 4 % overall
    ("canada-iii", "initial_zero_range", D("0.1"), "seen"),  # s. 43: 20 % overall
    ("canada-iii", "centre_of_zero_d", D("0.25"), "seen"),  # s. 41
    ("canada-iii", "record_adds_up", True, "seen"),  # LG-8.01
    ("canada-iii", "event_counter_resets", False, "seen"),
    ("canada-iii", "event_counter_once", True, "seen"),
    ("canada-iii-hd", "n_min_lb", ((D(5), 2000),), "seen"),  # s. 3
]


@pytest.mark.parametrize(
    ("name", "key", "value", "mark"), FIGURES, ids=[f"{n}-{k}" for n, k, _, _ in FIGURES]
)
def test_a_published_figure_stands_in_the_profile_with_its_mark(
    name: str, key: str, value: Any, mark: str
) -> None:
    profile = load_profile(name)
    rooms = (profile, profile.tests, profile.audit, profile.tolerance)
    found = next(getattr(room, key) for room in rooms if hasattr(room, key))
    assert found == value
    assert profile.entry(key).mark == mark


def test_usual_shares_of_the_parts_fit_together() -> None:
    """R 76-1 3.10.2.1 and Table 7 (memory): 0.7, 0.5, 0.5; squares sum up to 0.99."""
    profile = load_profile("r76-iii")
    assert dict(profile.fractions or ()) == {
        "load cell": D("0.7"),
        "indicator": D("0.5"),
        "connection": D("0.5"),
    }
    assert sum(p * p for _, p in profile.fractions or ()) == D("0.99")
    assert D("0.99") <= (profile.fraction_squares or 0)
