"""How well each value of the rule profiles is known: what was seen in a source text, and nothing else.

The sources that were read: tables of R 76-1 as reproduced and mirrored in laws, notes on HB 44 Tables 3, 6
and 7a, the Canadian specifications.  All the rest is recalled, or our own choice, and must not pass for more.
"""

from __future__ import annotations

import pytest

from benchsim.rules.profile import load_profile, profile_names

INTERVALS = {"smallest_interval_kg", "n_min", "n_min_coarse", "n_max"}
R76 = {
    *INTERVALS, "min_load_d", "min_load_tariff_d", "bands", "stages", "repeatability_stage",
    "eccentricity_load", "eccentricity_supports", "eccentricity_rolling", "tilt_zero_shift_d",
}  # fmt: skip
# NIST on d and e; Canada where no clause of HB 44 is known.
HB44 = {"limits_count_in", "stable_for_ms", "zero_when_stable"}
III = HB44 | INTERVALS | {"bands"}
CANADA = {
    "limits_count_in", "motion_band_d", "motion_band_above", "stable_for_ms", "centre_of_zero_d",
    "zero_set_within_d", "zero_when_stable", "zero_setting_range", "initial_zero_range", "tare_when_stable",
    "record_when_stable", "record_adds_up", "stages", "fractions", "repeatability_stage",
    "eccentricity_stage", "creep_in_tolerance_min", "event_counter_resets", "event_counter_once",
}  # fmt: skip
SEEN = {
    **dict.fromkeys(("r76-i", "r76-iii", "r76-iii-hopper", "r76-iiii"), R76),
    "r76-ii": R76 | {"min_load_coarse"},
    **dict.fromkeys(("hb44-i", "hb44-iiii"), HB44),
    "hb44-ii": HB44 | INTERVALS | {"n_min_lb", "n_min_oz"},
    **dict.fromkeys(("hb44-iii", "hb44-iii-bench", "hb44-iii-computing"), III),
    "hb44-iii-on-board": III | {"covers"},
    "hb44-iii-hopper": III | {"eccentricity_load", "eccentricity_support_load"},
    **dict.fromkeys((n for n in profile_names() if n.startswith("hb44-iiil")), HB44 | {"covers"}),
    "canada-iii": CANADA,
    "canada-iii-hd": CANADA | INTERVALS | {"n_min_lb", "bands", "beyond", "at_most"},
    "canada-iiii": CANADA | {"n_min", "n_min_coarse", "n_max"},
}


@pytest.mark.parametrize("name", profile_names())
def test_nothing_is_marked_as_seen_that_was_only_recalled(name: str) -> None:
    entries = load_profile(name).entries
    assert {e.key.partition(".")[2] for e in entries if e.mark == "seen"} == SEEN[name]
    assert not [e.key for e in entries if e.mark == "computed"]


@pytest.mark.parametrize("name", profile_names())
def test_what_was_recalled_with_doubt_says_so(name: str) -> None:
    doubted = {e.key for e in load_profile(name).entries if "doubt" in e.clause}
    assert doubted <= {
        "intervals.min_load_d", "intervals.min_load_coarse",  # HB 44 Table 8
        "tests.eccentricity_load", "tests.eccentricity_support_load",  # HB 44 N.1.3.7
        "tests.tilt_per_mille",  # R 76-1 3.9.1
    }  # fmt: skip
    if name.startswith("hb44"):
        assert "intervals.min_load_d" in doubted
    if name.startswith("r76"):
        assert doubted == {"tests.tilt_per_mille"}
