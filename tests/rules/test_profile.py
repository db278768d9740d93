"""A profile is read whole or refused with every error and its place."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput, ManyBadInputs
from benchsim.ground.library import profiles_folder
from benchsim.rules.procedures import Audit, Procedures
from benchsim.rules.profile import Profile, Tolerance, load_profile, profile_names, read_profile
from benchsim.rules.schema import KEYS, MARKS, Key, read_value

SHIPPED = profile_names()
TEXT = (profiles_folder() / "r76-iii.toml").read_text(encoding="utf-8")


def errors_of(text: str) -> list[BadInput]:
    with pytest.raises(ManyBadInputs) as caught:
        read_profile(text, "own", "own.toml")
    return list(caught.value.errors)


def the_error(text: str) -> str:
    (error,) = errors_of(text)
    return str(error)


def line_of(text: str, start: str) -> int:
    return next(i for i, line in enumerate(text.splitlines(), 1) if line.startswith(start))


def test_the_shipped_profiles_cover_every_class_of_three_rule_sets_and_the_kinds_that_are_known() -> None:
    found = {(p.standard, p.accuracy_class, p.kind) for p in map(load_profile, SHIPPED)}
    assert len(found) == len(SHIPPED)
    classes: dict[str, set[str]] = {}
    for standard, accuracy_class, _ in found:
        classes.setdefault(standard.split(",")[0].split(":")[0], set()).add(accuracy_class)
    assert classes == {
        "OIML R 76-1": {"I", "II", "III", "IIII"},
        "NIST Handbook 44": {"I", "II", "III", "III L", "IIII"},
        "Canada": {"III", "III HD", "IIII"},
    }
    # HB 44 Table 7a, as far as it is known here (seen).
    heavy = {kind for _, accuracy_class, kind in found if accuracy_class == "III L"}
    assert heavy == {"vehicle", "axle-load", "livestock", "railway track", "on-board"}


def test_the_names_that_scenarios_use_stay() -> None:
    assert {"hb44-iii", "hb44-iiil-vehicle", "r76-iii"} <= set(SHIPPED)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_value_has_a_clause_and_a_mark(name: str) -> None:
    profile = load_profile(name)
    assert {e.key for e in profile.entries} >= {f"{k.section}.{k.name}" for k in KEYS if not k.optional}
    for entry in profile.entries:
        assert entry.clause.strip()
        assert entry.mark in MARKS


@pytest.mark.parametrize("name", SHIPPED)
def test_an_own_choice_is_marked_as_having_no_source_and_only_an_own_choice(name: str) -> None:
    for entry in load_profile(name).entries:
        assert ("own choice" in entry.clause) == (entry.mark == "common practice, no source"), entry


@pytest.mark.parametrize("name", SHIPPED)
def test_a_profile_is_frozen(name: str) -> None:
    profile = load_profile(name)
    with pytest.raises(dataclasses.FrozenInstanceError):
        profile.n_max = 1  # type: ignore[misc]


def test_an_entry_is_found_by_its_name_with_or_without_the_section() -> None:
    profile = load_profile("r76-iii")
    assert profile.entry("zero.zero_setting_range") is profile.entry("zero_setting_range")
    assert profile.entry("zero_setting_range").clause.startswith("4.5.1")


def test_a_limit_says_what_it_counts() -> None:
    for name, counted in (("r76-iii", "e"), ("hb44-iii", "d")):
        profile = load_profile(name)
        assert profile.limits_count_in == counted
        assert {profile.entry(k).unit for k in ("motion_band_d", "centre_of_zero_d")} == {counted}
        assert profile.entry("zero_tracking_window_d").unit == "d"


def test_an_unknown_entry_names_the_nearest() -> None:
    with pytest.raises(BadInput, match=r"zero\.zero_setting_range"):
        load_profile("r76-iii").entry("zero.zero_seting_range")


def test_numbers_are_exact() -> None:
    profile = load_profile("r76-iii")
    assert profile.zero_setting_range == Decimal("0.02")
    assert profile.tolerance.bands[0] == (500, Decimal("0.5"))


def test_a_users_own_profile_is_a_path(tmp_path: Path) -> None:
    own = tmp_path / "ours.toml"
    own.write_text(
        TEXT.replace("motion_band_d = { value = 0.5", "motion_band_d = { value = 0.7"), encoding="utf-8"
    )
    profile = load_profile(str(own))
    assert profile.name == "ours"
    assert profile.motion_band_d == Decimal("0.7")


def test_an_unknown_name_suggests_the_nearest() -> None:
    with pytest.raises(BadInput, match="did you mean 'r76-iiii'"):
        load_profile("r76-iiiii")


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="No such file"):
        load_profile(str(tmp_path / "none.toml"))


def test_a_syntax_error_has_its_line_and_column() -> None:
    with pytest.raises(BadInput) as caught:
        read_profile('title = "x"\nclass = \n', "own", "own.toml")
    assert str(caught.value).startswith("own.toml:2:9: not TOML: Invalid value")


def test_a_file_that_ends_too_early_is_told() -> None:
    with pytest.raises(BadInput, match=r"own\.toml.*not TOML"):
        read_profile("[zero", "own", "own.toml")


def test_an_unknown_key_has_its_place_and_the_nearest_word() -> None:
    text = TEXT.replace("[zero]", '[zero]\nmotion_bnd = { value = 1, clause = "x", mark = "seen" }', 1)
    assert the_error(text).startswith(
        f"own.toml:{line_of(text, 'motion_bnd')}:1: unknown key in [zero] 'motion_bnd'"
    )


def test_an_unknown_section_has_its_place_and_the_nearest_word() -> None:
    text = TEXT + "\n[zeros]\n"
    assert the_error(text).startswith(
        f"own.toml:{line_of(text, '[zeros]')}:1: unknown section or key 'zeros'; did you mean 'zero'?"
    )


def test_an_unknown_word_at_the_top_is_told() -> None:
    assert re.match(
        r"own\.toml:1:1: unknown section or key 'titel'; did you mean 'title'",
        the_error("titel = 1\n" + TEXT),
    )


def test_an_unknown_part_of_a_value_is_told_at_its_column() -> None:
    text = TEXT.replace(
        "underload_d = { value = 20, clause =", 'underload_d = { value = 20, claus = "x", clause ='
    )
    line = line_of(text, "underload_d")
    assert the_error(text).startswith(
        f"own.toml:{line}:29: unknown part of underload_d 'claus'; did you mean 'clause'?"
    )


def test_a_value_out_of_range_prints_the_range_and_its_place() -> None:
    text = TEXT.replace("zero_setting_range = { value = 0.02", "zero_setting_range = { value = 1.5")
    line = line_of(text, "zero_setting_range")
    assert the_error(text) == f"own.toml:{line}:32: 1.5 is out of range; write a number from 0 to 1"


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("n_min = { value = 100", "n_min = { value = 1.5", "not a whole number"),
        ("n_min = { value = 100", "n_min = { value = true", "not a whole number"),
        ("n_min = { value = 100", "n_min = { value = -3", "out of range"),
        ("motion_band_d = { value = 0.5", 'motion_band_d = { value = "0.5"', "not a number"),
        ("motion_band_d = { value = 0.5", "motion_band_d = { value = nan", "out of range"),
        ("motion_band_d = { value = 0.5", "motion_band_d = { value = inf", "out of range"),
        ("tare_when_stable = { value = true", "tare_when_stable = { value = 1", "neither true nor false"),
        ('value = "clears tare"', 'value = "clear tare"', "did you mean 'clears tare'"),
        ("motion_band_d = { value = 0.5, ", "motion_band_d = { ", "no value with its clause"),
        ('clause = "4.4.2, A.4.12"', 'clause = ""', "no clause"),
        (
            'clause = "4.4.2, A.4.12", mark = "memory"',
            'clause = "4.4.2", mark = "remembered"',
            "unknown mark",
        ),
        ('clause = "4.4.2, A.4.12", mark = "memory"', 'clause = "4.4.2"', "has no mark"),
        ("value = [0.005, 500]", "value = 500", "not an interval and a number"),
        ("[2000, 1.0], [10000, 1.5]", "[400, 1.0]", "stands behind"),
        ("[2000, 1.0], [10000, 1.5]", "[2000, 0.2]", "stands behind"),
        ("[2000, 1.0], [10000, 1.5]", "[2000]", "not a step"),
        ("[[500, 0.5], [2000, 1.0], [10000, 1.5]]", "[]", "not a list of steps"),
        ('{ initial = 1, "in service" = 2 }', "{}", "names no stage"),
        ('title = "OIML R 76-1, class III"', "title = 3", "title: 3 is not a text"),
        ('title = "OIML R 76-1, class III"\n', "", "title is missing"),
        ("n_max = { value = 10000", 'n_max = { value = "nolimit"', 'or "no limit"'),
        ("n_max = { value = 10000", 'n_max = { value = "none"', 'or "no limit"'),
        ("n_min = { value = 100", 'n_min = { value = "none"', "not a whole number"),
        ("n_min_coarse = { value = [0.005, 500]", 'n_min_coarse = { value = "no limit"', 'or "none"'),
        ("value = [0.005, 500]", "value = [0.005, 20000]", "n_min_coarse 20000 is above n_max 10000"),
        ("[10000, 1.5]]", "[9000, 1.5]]", "no tolerance from 9001 to n_max 10000"),
        ("[500, 0.5], [2000, 1.0]", '["no limit", 0.5], [2000, 1.0]', "stands behind no limit"),
        ('"1/3"', '"1/0"', "not a part"),
        ('"1/3"', '"3/1"', "out of range"),
        ('"1/3"', '"a third"', "not a part"),
        ('"1/3"', '"1/" ', "not a part"),
        ('"1/3"', "0", "out of range"),
        ('value = "as tested"', 'value = "maintenance"', "unknown stage 'maintenance'"),
        ("value = [0.3, 0.8]", "value = [0.8, 0.3]", "0.8 is above 0.3"),
        ("value = [0.3, 0.8]", "value = [0.3]", "not a range"),
        ('value = ["G", "B"]', 'value = ["G", 3]', "not a line of text"),
        ('value = ["G", "B"]', 'value = "G"', "not a list of texts"),
        ("value = [1000, 3]", 'value = ["1 t", 3]', "not a number"),
    ],
)
def test_a_wrong_value_is_refused(before: str, after: str, says: str) -> None:
    assert before in TEXT
    assert says in the_error(TEXT.replace(before, after, 1))


def test_a_missing_key_says_how_to_write_it_at_its_section() -> None:
    line = line_of(TEXT, "underload_d")
    text = "\n".join(t for i, t in enumerate(TEXT.splitlines(), 1) if i != line)
    assert the_error(text) == (
        f"own.toml:{line_of(text, '[limits]')}:1: underload_d is missing in [limits]; "
        'write underload_d = { value = 20, clause = "...", mark = "memory" }'
    )


def test_every_error_is_told_at_once() -> None:
    text = TEXT.replace("n_min = { value = 100", "n_min = { value = 0").replace("value = 20,", "value = -1,")
    assert len(errors_of(text)) == 3


def test_errors_are_told_in_the_order_in_which_they_stand() -> None:
    wrong = '{ value = 7000, clause = "x", mark = "guess", x = 1 }'
    text = TEXT.replace("[motion]", f"[motion]\nmotion_bnd = 1\nmotion_band_above = {wrong}").replace(
        'title = "OIML R 76-1, class III"\n', ""
    )
    places = [(e.place.line, e.place.column) for e in errors_of(text) if e.place]
    assert len(places) == 5
    assert places == sorted(places)


def test_n_min_above_n_max_is_refused() -> None:
    text = TEXT.replace("n_min = { value = 100", "n_min = { value = 20000")
    assert "n_min 20000 is above n_max 10000" in the_error(text)


BANDS = "bands = { value = [[500, 0.5], [2000, 1.0], [10000, 1.5]]"
BEYOND = 'beyond = { value = [500, 1], clause = "x", mark = "memory" }\n'
AT_MOST = 'at_most = { value = 9, clause = "x", mark = "memory" }\n'


@pytest.mark.parametrize(
    ("n_max", "bands", "more", "says"),
    [
        ('"no limit"', "[[500, 1], [2000, 2]]", "", "no tolerance from 2001 on, without an end"),
        ('"no limit"', "[[500, 1]]", BEYOND, "grows on without an end"),
        ("10000", '[[500, 1], ["no limit", 2]]', BEYOND, "the last step has no end"),
        ('"no limit"', '[[500, 1], ["no limit", 2]]', "", ""),
        ("10000", "[[500, 1]]", BEYOND, ""),
        (
            '"no limit"',
            "[[500, 1]]",
            BEYOND + AT_MOST,
            "",
        ),
    ],
)
def test_every_load_has_a_tolerance_and_the_steps_end_somewhere(
    n_max: str, bands: str, more: str, says: str
) -> None:
    text = TEXT.replace("n_max = { value = 10000", f"n_max = {{ value = {n_max}")
    text = text.replace(BANDS, more + f"bands = {{ value = {bands}")
    assert text != TEXT
    if says:
        assert says in the_error(text)
        assert re.match(r"own\.toml:\d+:\d\d: ", the_error(text))
    else:
        assert read_profile(text, "own", "own.toml").tolerance.bands[0] == (500, Decimal(1))


def test_every_field_of_a_profile_is_a_key_that_can_be_written_and_every_key_a_field() -> None:
    parts = (Profile, Tolerance, Procedures, Audit)
    names = {re.sub("_us$", "_ms", field.name) for part in parts for field in dataclasses.fields(part)}
    apart = {"name", "title", "standard", "accuracy_class", "kind", "files", "tolerance", "tests", "audit"}
    assert names - apart - {"entries"} == {key.name for key in KEYS}
    assert len({key.name for key in KEYS}) == len(KEYS)


@pytest.mark.parametrize("key", KEYS, ids=[key.name for key in KEYS])
def test_the_example_that_an_error_shows_can_be_read(key: Key) -> None:
    value = tomllib.loads(key.example(), parse_float=Decimal)[key.name]["value"]
    told = key.kind.tell(read_value(key, value), "d")
    assert told.strip()
    assert key.what


def test_a_section_that_is_no_section_is_told() -> None:
    text = "zero = 3\n" + TEXT.replace("[zero]", "[motion2]", 1)
    assert any("zero is not a section" in str(error) for error in errors_of(text))
