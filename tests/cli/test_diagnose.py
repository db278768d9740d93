"""The verb `diagnose`: exit codes, what a person reads, what a program reads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.calls import HEAD, Call

STORY = "timeline: [{at: 6 s, place: 1 t, name: a}, {at: 14 s, remove: a}%s]\nlasts: 22 s\n"
WELL = HEAD + STORY % ""
ILL = HEAD + STORY.replace("[", "[{at: 0 s, fault: dead-cell, on: cell 3}, ", 1) % ""


@pytest.fixture
def write(tmp_path: Path) -> Path:
    (tmp_path / "well.yaml").write_text(WELL)
    (tmp_path / "ill.yaml").write_text(ILL)
    return tmp_path


def test_a_healthy_scale_is_told_as_one(call: Call, write: Path) -> None:
    done = call("diagnose", str(write / "well.yaml"))
    assert done.code == 0
    assert "nothing stands out" in done.out
    assert "Simulated" in done.out


def test_a_dead_cell_is_named_with_evidence_and_a_way_to_make_sure(call: Call, write: Path) -> None:
    done = call("diagnose", str(write / "ill.yaml"))
    assert done.code == 1
    assert "dead-cell on cell 3" in done.out
    assert "carries" in done.out
    assert "make sure" in done.out
    assert "caution" in done.out


def test_json_has_the_same_in_fields(call: Call, write: Path) -> None:
    done = call("diagnose", str(write / "ill.yaml"), "--json", "--most", "2")
    found = json.loads(done.out)
    assert done.code == 1
    assert not found["healthy"]
    assert len(found["causes"]) == 2
    assert all(cause["target"] == "cell 3" for cause in found["causes"])
    assert sum(e["log_odds"] for e in found["causes"][0]["evidence"]) > 0
    assert found["stands_out"][0]["place"] == "cell 3"


def test_a_recording_is_taken_too(call: Call, write: Path) -> None:
    kept = str(write / "ill.mcap")
    call("run", str(write / "ill.yaml"), "--record", kept)
    assert "dead-cell on cell 3" in call("diagnose", kept).out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["nobody.yaml"], "No such file"),
        (["cell-faults", "--from", "9 parsec"], "parsec"),
        (["cell-faults", "--from", "9 h"], "nothing lies between"),
    ],
)
def test_bad_input_is_told_with_exit_code_2(call: Call, words: list[str], says: str) -> None:
    done = call("diagnose", *words)
    assert done.code == 2
    assert says in done.err


def test_what_no_known_fault_explains_better_than_chance_is_no_illness(call: Call) -> None:
    done = call("diagnose", "sixteen-cells")
    assert done.code == 0
    assert "Healthy, as far as it was tried: no fault that is known explains what does." in done.out
    assert "What stands out" in done.out
