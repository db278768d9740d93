"""The verb `calibrate`: by itself and by hand, as text and as JSON, and what it refuses."""

from __future__ import annotations

import io
import json
import tomllib
from pathlib import Path

import pytest

from tests.cli.calls import Call

GOLDEN = Path(__file__).with_name("calibration.txt")
PLATFORM = """\
title: A small platform
seed: 4
scale: {{capacity: 3 t, interval: 1 kg, receptor: {{length: 1.5 m, width: 1.5 m, dead load: 240 kg}}}}
cells: {{count: {count}, capacity: 2 t, inset: 10 cm}}
rules: {rules}
timeline: [{item}]
"""
QUICK = ("--linearity", "none", "--repeats", "0", "--weight", "100 kg")


@pytest.fixture
def platform(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A scale of three cells in the folder that is worked in."""
    monkeypatch.chdir(tmp_path)
    return written()


def written(item: str = "", count: int = 3, rules: str = "r76-iii") -> str:
    Path("scale.yaml").write_text(PLATFORM.format(item=item, count=count, rules=rules), encoding="utf-8")
    return "scale.yaml"


def test_the_whole_transcript_is_as_it_was_reviewed(platform: str, call: Call) -> None:
    done = call(
        "calibrate", platform, "--test-weights", "2 t", "--linearity", "500 kg, 100 %", "--repeats", "2"
    )
    assert (done.code, done.err) == (0, "")
    assert [line.rstrip() for line in done.out.splitlines()] == GOLDEN.read_text("utf-8").splitlines()


def test_as_json_all_of_it_can_be_read_by_a_program(platform: str, call: Call) -> None:
    done = call("calibrate", platform, "--test-weights", "2 t", "--json")
    found = json.loads(done.out)
    assert (done.code, found["simulated"], found["passed"]) == (0, True, True)
    assert [s["number"] for s in found["steps"]] == list(range(1, len(found["steps"]) + 1))
    assert all(s["cautions"] for s in found["steps"])
    assert [c["cell"] for c in found["solution"]["cells"]] == [1, 2, 3]
    assert all(abs(c["factor"] - 1) < 1e-3 for c in found["solution"]["cells"])
    assert found["results"]["linearity"][-1]["load_expanded_kg"] > 0
    assert len(bytes.fromhex(found["results"]["seal"]["fingerprint"])) == 8
    assert [r["place"] for r in found["solution"]["residuals"]][-1] == "in the middle"
    assert all(abs(r["kg"]) < 0.1 < r["allowed_kg"] for r in found["solution"]["residuals"])
    assert found["refused"] is None


def test_the_seal_is_written_with_the_fingerprint_that_is_told(platform: str, call: Call) -> None:
    done = call("calibrate", platform, *QUICK, "--seal", "seal.toml")
    read = tomllib.loads(Path("seal.toml").read_text("utf-8"))
    assert done.code == 0
    assert f"whole scale {read['fingerprint']}; address 1 {read['fingerprints']['1']}" in done.out
    assert done.err == "seal written to seal.toml\n"
    other = call("calibrate", platform, *QUICK, "--seal", "other.toml", "--used-at", "9.7803 m/s2")
    moved = tomllib.loads(Path("other.toml").read_text("utf-8"))
    assert "Gravity factor 1.0026942" in other.out  # 9.80665 / 9.7803
    assert moved["fingerprint"] != read["fingerprint"]


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (
            "{at: 0 s, fault: swapped-signal, on: cell 2}",
            "negative coefficient: the counts of cell 2 fall under a load over cell 2",
        ),
        ("{at: 0 s, fault: dead-cell, on: cell 3}", "no load of 100 kg is seen on the deck"),
    ],
)
def test_a_scale_that_is_not_right_ends_with_1_and_the_reason(
    platform: str, call: Call, item: str, words: str
) -> None:
    written(item)
    done = call("calibrate", platform, *QUICK, "--seal", "seal.toml")
    assert done.code == 1
    assert f"  refused: {words}" in done.out
    assert f"Not calibrated: {words}" in done.out
    assert not Path("seal.toml").exists()
    assert done.err == "no seal written to seal.toml: not calibrated\n"
    assert json.loads(call("calibrate", platform, *QUICK, "--json").out)["refused"]["found"] == words


def test_what_is_outside_the_rules_is_not_sealed(platform: str, call: Call) -> None:
    done = call("calibrate", platform, *QUICK, "--class", "M3", "--seal", "seal.toml")
    assert done.code == 1
    assert "Not within the rules: error of the test weights at 3 t" in done.out
    assert not Path("seal.toml").exists()
    assert json.loads(call("calibrate", platform, *QUICK, "--class", "M3", "--json").out)["passed"] is False


def test_a_wrong_rated_output_is_told_and_mended(platform: str, call: Call) -> None:
    written("{at: 0 s, fault: span-drift, on: cell 1, with: {drift: -4 %, over: 0 s}}")
    done = call("calibrate", platform, *QUICK)
    assert done.code == 0
    assert "note: cell 1: +4.1" in done.out  # 1 / 0.96 is 1.0417


def test_cells_that_loads_do_not_tell_apart_are_refused_without_data_sheets(
    platform: str, call: Call
) -> None:
    written(count=4)
    done = call("calibrate", platform, *QUICK, "--no-data-sheet")
    assert done.code == 1
    assert "Not calibrated: condition number" in done.out
    assert call("calibrate", platform, *QUICK).code == 0


def test_sections_are_calibrated_as_wholes(platform: str, call: Call) -> None:
    written(count=4)
    done = call("calibrate", platform, *QUICK, "--sections", "sections")
    assert done.code == 0
    assert "Put the test weight, 100 kg, over cells 1 and 2." in done.out


def test_by_hand_a_person_says_when_and_goes_back(
    platform: str, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    slips = ["help", "dnoe", "zero", "done", "read", "place crate 3 t over cell 9"]
    heavy = ["place crate 30 kg over cell 1", "done", "remove crate", "again", "done", "back", "done", "done"]
    light = ["place crate 2 kg over cell 1", "done", "done", "remove crate", "again"]
    lines = [*slips, *heavy, *light, *["done"] * 5]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    done = call("calibrate", platform, *QUICK, "--by-hand")
    out = done.out
    assert "not done: unknown word 'dnoe'; did you mean 'done'? " in out
    assert "not done: unknown word 'zero'" in out
    assert "refused: no load of 100 kg is seen on the deck; put it over cell 1, then say done" in out
    assert "note: by the data sheets 130.00 kg stand there, not 100 kg" in out
    assert "there is no 'cell 9' to put it over; cell 1 to cell 3" in out
    assert "refused: residual +0.72 kg at the load in the middle, above the 500 g that the rules allow" in out
    assert done.code == 0
    assert out.count("Stand clear while a load is moved") > 10


def test_by_hand_again_and_back_go_where_they_say(
    platform: str, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("done\ndone\nback\nback\nagain\nagain\nquit\n"))
    out = call("calibrate", platform, *QUICK, "--by-hand").out
    steps = [line.split()[1] for line in out.splitlines() if line.startswith("Step ")]
    assert steps == ["1", "2", "3", "2", "1", "2", "2"]


@pytest.mark.parametrize("lines", ["", "done\nquit\n", "done\ndone"])
def test_by_hand_what_is_left_unfinished_ends_with_1(
    platform: str, call: Call, monkeypatch: pytest.MonkeyPatch, lines: str
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    done = call("calibrate", platform, "--by-hand")
    assert done.code == 1
    assert "Not calibrated: steps are left" in done.out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--weight", "100"), "--weight: '100' has no unit"),
        (("--weight", "-1 kg"), "--weight: '-1 kg' is no mass to put on"),
        (("--test-weights", "5 t"), "all test weights together: 5 t; more than 0 kg, at most Max, 3 t"),
        (("--class", "X"), "unknown class of test weights 'X'"),
        (("--piece", "25 kg"), "a test weight of 25 kg"),
        (("--linearity", "50 %, much"), "--linearity: ' much' is not a mass"),
        (("--linearity", "200 %"), "a linearity point: 6 t"),
        (("--used-at", "9.78"), "--used-at: '9.78' is no gravity; a number and a unit, as 9.7803 m/s2"),
        (("--used-at", "1.62 m/s2", *QUICK), "a gravity of 1.62 m/s2"),
        (("--seed", "x"), "--seed: 'x' is not a seed"),
        (("--by-hand", "--json"), "give one of them"),
        ((*QUICK, "--seal", "no/where.toml"), "no/where.toml: No such file or directory"),
    ],
)
def test_what_cannot_be_is_told_in_a_line(
    platform: str, call: Call, words: tuple[str, ...], told: str
) -> None:
    done = call("calibrate", platform, *words)
    assert done.code == 2
    assert told in done.err
    assert len(done.err.splitlines()) == 1
