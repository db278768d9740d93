"""The verb `rules`: lists, tells, compares and answers, in text and in JSON, and says what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchsim.rules.profile import load_profile, profile_names
from tests.cli.calls import Call

GOLDEN = Path(__file__).parent / "rules_hb44_iiil_vehicle.txt"


def words(text: str) -> str:
    return " ".join(text.split())


def bare(text: str) -> list[str]:
    """Lines without the blanks that fill a table's last column."""
    return [line.rstrip() for line in text.splitlines()]


# -- the list and one ----------------------------------------------------------------------------------


def test_every_profile_is_listed_under_its_standard(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    listed = json.loads(call("rules", "--json").out)["rules"]
    assert [r["name"] for r in listed] == list(profile_names())
    monkeypatch.setenv("COLUMNS", "80")
    lines = bare(call("rules").out)
    assert max(map(len, lines)) <= 80
    heads = [load_profile(n).standard for n in profile_names()]
    for name, standard in zip(profile_names(), heads, strict=True):
        row = next(i for i, line in enumerate(lines) if line.startswith(f"{name} "))
        assert next(line for line in reversed(lines[:row]) if line in heads) == standard
        assert f" {load_profile(name).accuracy_class} " in lines[row]


@pytest.mark.parametrize("name", profile_names())
def test_a_profile_is_told_value_by_value_with_clause_and_mark(call: Call, name: str) -> None:
    profile = load_profile(name)
    told = json.loads(call("rules", name, "--json").out)
    assert len(told["values"]) == len(profile.entries)
    for entry, value in zip(profile.entries, told["values"], strict=True):
        assert (value["key"], value["clause"], value["mark"]) == (entry.key, entry.clause, entry.mark)
        assert (value["value"] is None) == (value["shown"] in ("none", "no limit"))
    assert told["builds on"] == [Path(file).stem for file in profile.files[1:]]


@pytest.mark.parametrize("width", ["80", "110"])
@pytest.mark.parametrize("name", ["hb44-iiil-vehicle", "r76-i", "canada-iii-hd"])
def test_no_word_of_a_profile_is_lost_in_the_table(
    call: Call, name: str, width: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", width)
    out = call("rules", name).out
    assert max(map(len, out.splitlines())) <= int(width)
    flat = out.split()
    for entry in load_profile(name).entries:
        for text in (entry.what, entry.shown, entry.clause):
            assert set(text.split()) <= set(flat), text


def test_a_profile_s_page_is_the_one_that_was_read_and_found_good(call: Call) -> None:
    assert bare(call("rules", "hb44-iiil-vehicle").out) == GOLDEN.read_text("utf-8").splitlines()


def test_a_profile_of_one_s_own_is_told_by_its_path(call: Call, tmp_path: Path) -> None:
    own = tmp_path / "ours.toml"
    own.write_text('base = "r76-iii"\ntitle = "of our site"\n', "utf-8")
    assert call("rules", str(own)).out.startswith("ours  of our site\nbuilds on r76-iii\n")
    own.write_text('base = "r76-iii"\n[zero]\nx = 1\n', "utf-8")
    done = call("rules", str(own))
    assert (done.code, done.out) == (2, "")
    assert f"{own}:3:1: unknown key in [zero] 'x'" in done.err
    assert f"{own}: title is missing" in done.err


# -- two -----------------------------------------------------------------------------------------------


def test_two_profiles_are_set_side_by_side_where_they_differ(call: Call) -> None:
    told = json.loads(call("rules", "--diff", "hb44-iii", "hb44-iii-bench", "--json").out)
    (only,) = told["differs"]
    assert (told["a"], told["b"], only["key"]) == (
        "hb44-iii",
        "hb44-iii-bench",
        "zero.zero_tracking_window_before_2007_d",
    )
    assert (only["a"]["value"], only["b"]["value"], only["a"]["clause"]) == (1, 0.6, "S.2.1.3.1")
    assert told["same"] == len(load_profile("hb44-iii").entries) - 1
    lines = bare(call("rules", "--diff", "hb44-iii", "hb44-iii-bench").out)
    assert lines[:2] == [
        "hb44-iii  NIST Handbook 44 section 2.20, class III, other scales",
        "hb44-iii-bench  NIST Handbook 44 section 2.20, class III, bench or counter scale",
    ]
    assert [words(line) for line in lines[5:7]] == [
        "within, made 1981 to 2006 1 d 0.6 d",
        "S.2.1.3.1; memory S.2.1.3.1; memory",
    ]
    assert lines[8].startswith("67 values the same, whatever the clause.")


@pytest.mark.parametrize("width", ["80", "110"])
def test_all_that_differs_is_told_with_both_clauses(
    call: Call, width: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", width)
    flat = set(call("rules", "--diff", "r76-iii", "canada-iii-hd").out.split())
    one, two = ({e.key: e for e in load_profile(n).entries} for n in ("r76-iii", "canada-iii-hd"))
    for key in one.keys() | two.keys():
        a, b = one.get(key), two.get(key)
        if a and b and a.value != b.value:
            texts = (a.what, a.shown, b.shown, f"{a.clause};", f"{b.clause};")
            assert set(" ".join(texts).split()) <= flat
    assert "stages," in flat


def test_a_value_that_is_not_there_and_one_that_says_so_are_the_same(call: Call) -> None:
    told = json.loads(call("rules", "--diff", "hb44-i", "canada-iii-hd", "--json").out)
    keys = [d["key"] for d in told["differs"]]
    assert "intervals.n_min_oz" not in keys  # "none" in the one, nothing said in the other
    assert "intervals.n_min_lb" in keys


def test_a_profile_differs_from_itself_in_nothing(call: Call) -> None:
    assert json.loads(call("rules", "--diff", "r76-i", "r76-i", "--json").out)["differs"] == []
    assert (
        f"{len(load_profile('r76-i').entries)} values the same"
        in call("rules", "--diff", "r76-i", "r76-i").out
    )


# -- one load ------------------------------------------------------------------------------------------

# The comparison values of HB 44 Table 6, R 76-1 Table 6 and SI/98-81 s. 8 at 1 840 intervals.
AT_1840: dict[str, dict[str, float]] = {
    "hb44-iiil-vehicle": {"maintenance": 4, "acceptance": 2},
    "hb44-iii": {"maintenance": 2, "acceptance": 1},
    "r76-iii": {"initial": 1, "in service": 2},
    "canada-iii-hd": {"in service": 3, "acceptance": 1.5},
}


@pytest.mark.parametrize("name", AT_1840)
@pytest.mark.parametrize(
    ("load", "interval"), [("1840", None), ("18.4 t", "10kg"), ("18400kg", "10 kg"), ("18.4t", "0.01 t")]
)
def test_the_tolerance_of_a_load_is_told_by_stage_in_intervals_and_in_kg(
    call: Call, name: str, load: str, interval: str | None
) -> None:
    asked = ["rules", name, "--tolerance", load, *(["--interval", interval] if interval else [])]
    told = json.loads(call(*asked, "--json").out)
    assert {stage: found["intervals"] for stage, found in told["tolerance"].items()} == AT_1840[name]
    assert told["load"]["intervals"] == 1840
    assert told["counts"] == load_profile(name).limits_count_in
    entry = load_profile(name).entry("bands")
    assert (told["clause"], told["mark"]) == (entry.clause, entry.mark)
    out = words(call(*asked).out)
    for stage, allowed in AT_1840[name].items():
        in_kg = f" = {10 * allowed:g} kg" if interval else ""
        assert f"{stage} ± {allowed:g} {told['counts']}{in_kg}" in out
        if interval:
            assert told["tolerance"][stage]["kg"] == 10 * allowed
    assert entry.clause in out


@pytest.mark.parametrize(
    ("load", "allowed"),
    [("0", 0.5), ("499.99", 0.5), ("500", 0.5), ("500.0001", 1), ("1_250", 1), ("10000", 1.5), ("9 e", 0.5)],
)
def test_a_load_between_two_counts_has_the_tolerance_of_the_higher(
    call: Call, load: str, allowed: float
) -> None:
    """R 76-1 Table 6 (seen): a band holds up to its end and no farther."""
    told = json.loads(call("rules", "r76-iii", "--tolerance", load, "--json").out)
    assert told["tolerance"]["initial"]["intervals"] == allowed
    assert told["below_min"] is (load in ("0", "9 e"))


def test_pounds_stay_pounds(call: Call) -> None:
    done = call("rules", "hb44-iii", "--tolerance", "400 lb", "--interval", "0.2 lb")
    assert "load 2000 d = 400 lb maintenance ± 2 d = 0.4 lb acceptance ± 1 d = 0.2 lb" in words(done.out)


def test_a_load_below_min_is_told_to_be_one(call: Call) -> None:
    said = "Below 20 e, the smallest load that should be weighed: 3.2, Table 3."
    assert call("rules", "r76-ii", "--tolerance", "19").out.splitlines()[-1].strip() == said
    coarse = call("rules", "r76-ii", "--tolerance", "4.9 g", "--interval", "0.1 g").out
    assert "Below 50 e" in coarse
    assert "Below" not in call("rules", "r76-ii", "--tolerance", "20").out


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (
            ("r76-iii", "--tolerance", "18.4 t"),
            "18.4 t without an interval to count it in; add one, as --interval",
        ),
        (
            ("r76-iii", "--tolerance", "10001"),
            "a load of 10001 intervals; r76-iii has tolerances from 0 to 10000",
        ),
        (("r76-iii", "--tolerance", "-5"), "--tolerance: -5 is not a load; write one of 0 or above"),
        (("r76-iii", "--tolerance", ""), "--tolerance: '' is not a mass"),
        (("r76-iii", "--tolerance", "nan"), "--tolerance: 'nan' is not a mass"),
        (("r76-iii", "--tolerance", "5 d"), "'5 d' counts d; r76-iii counts e"),
        (("r76-iii", "--tolerance", "1 kgg"), "unknown unit 'kgg'; did you mean 'kg'?"),
        (("r76-iii", "--tolerance", "9" * 2000), "is not a load"),
        (("r76-iii", "--tolerance", "1e999999 kg", "--interval", "1 kg"), "out of any range"),
        (
            ("r76-iii", "--tolerance", "5", "--interval", "15kg"),
            "--interval: 15kg is not 1, 2 or 5 times a power of",
        ),
        (("r76-iii", "--tolerance", "5", "--interval", "15kg"), "nearest: 10 kg, 20 kg (HB 44 S.1.2)"),
        (
            ("r76-iii", "--tolerance", "5", "--interval", "0.05 g"),
            "too small for class III; at least 0.1 g (3.2, T",
        ),
        (("hb44-iii", "--tolerance", "5", "--interval", "0.0001 lb"), "at least 0.0002 lb (Table 3)"),
        (("r76-iii", "--tolerance", "5", "--interval", "0 kg"), "--interval: 0 kg is not an interval"),
        (("r76-iii", "--tolerance", "5", "--interval", "10"), "--interval: '10' has no unit"),
        (("--tolerance", "5"), "--tolerance without a profile; benchsim rules NAME --tolerance LOAD"),
        (("r76-iii", "--interval", "10 kg"), "--interval without --tolerance"),
        (("r76-iii", "--diff", "r76-i", "r76-ii"), "--diff A B and r76-iii; name just two profiles"),
        (("--diff", "r76-i", "r76-iiiii"), "unknown rule profile 'r76-iiiii'"),
        (("--diff", "r76-i"), "diff"),
    ],
)
def test_what_cannot_be_answered_says_what_would_be_right(
    call: Call, asked: tuple[str, ...], says: str
) -> None:
    done = call("rules", *asked)
    assert (done.code, done.out) == (2, "")
    assert says in words(done.err)
