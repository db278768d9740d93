"""The verb `run`: verdicts for people and for machines, and an exit code that can be trusted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchsim.cli import text
from benchsim.ground.library import shipped
from tests.cli.calls import BAD, FAILING, GOOD, UNCHECKED, Call, Done


def folder(path: Path, **files: str) -> Path:
    for name, content in files.items():
        (path / f"{name}.yaml").write_text(content, "utf-8")
    return path


def document(done: Done) -> Any:
    """stdout is one JSON object and nothing else."""
    return json.loads(done.out)


def test_all_checks_held_is_exit_code_0(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, good=GOOD) / "good.yaml"))
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("PASS t\n")
    assert "1 scenario, 2 checks: 1 passed, 0 failed" in done.out
    assert "never an instrument" in done.out


def test_a_failed_check_is_exit_code_1_and_says_what_was_wanted_and_found(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, failing=FAILING) / "failing.yaml"))
    assert done.code == 1
    assert "FAIL" in done.out
    assert "gross 0 kg" in done.out
    assert "expected gross 1 t" in done.out


def test_a_folder_runs_all_its_scenarios_and_a_bad_one_does_not_stop_the_others(
    call: Call, tmp_path: Path
) -> None:
    where = folder(tmp_path, a=GOOD, b=BAD, c=FAILING)
    (where / "notes.txt").write_text("not a scenario")
    done = call("run", str(where))
    assert done.code == 2
    assert done.err == f"{where}/b.yaml:3:1: unknown key 'sead'; did you mean 'seed'?\n"
    assert "2 scenarios, 3 checks: 1 passed, 1 failed, 1 could not be read or run" in done.out


def test_json_is_one_object_with_exactly_these_keys(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=GOOD, c=FAILING)
    done = call("run", "--json", str(where))
    assert (done.code, done.err) == (1, "")
    found = document(done)
    assert list(found) == ["scenarios", "passed"]
    assert found["passed"] is False
    keys = ["file", "title", "seed", "passed", "sim_seconds", "wall_seconds", "checks"]
    assert [list(s) for s in found["scenarios"]] == [keys, keys]
    good, failing = found["scenarios"]
    assert (good["file"], good["title"], good["seed"], good["passed"]) == (f"{where}/a.yaml", "t", 1, True)
    assert good["sim_seconds"] == 10
    assert 0 < good["wall_seconds"] < 60
    assert list(good["checks"][0]) == ["name", "passed", "at_s", "expected", "found"]
    assert (good["checks"][0]["at_s"], good["checks"][0]["passed"]) == (8, True)
    assert failing["checks"][0]["passed"] is False


def test_json_with_a_bad_file_still_has_the_results_of_the_others(call: Call, tmp_path: Path) -> None:
    done = call("run", "--json", str(folder(tmp_path, a=GOOD, b=BAD)))
    assert done.code == 2
    found = document(done)
    assert found["passed"] is False
    assert [s["passed"] for s in found["scenarios"]] == [True]
    assert "b.yaml:3:1" in done.err


def test_only_bad_files_are_still_one_json_object(call: Call, tmp_path: Path) -> None:
    done = call("run", "--json", str(tmp_path / "none.yaml"))
    assert (done.code, document(done)) == (2, {"scenarios": [], "passed": False})


def test_a_folder_without_scenarios_is_bad_input(call: Call, tmp_path: Path) -> None:
    done = call("run", str(tmp_path))
    assert done.code == 2
    assert f"{tmp_path}: no scenario in this folder" in done.err


def test_a_scenario_without_checks_says_so(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, a=UNCHECKED) / "a.yaml"))
    assert done.code == 0
    assert "no checks: it ran to its end, and nothing was asked of it" in done.out


@pytest.mark.parametrize(("seed", "told"), [("7", 7), ("a word", "a word")])
def test_a_seed_takes_the_place_of_the_scenario_s_own(
    call: Call, tmp_path: Path, seed: str, told: object
) -> None:
    done = call("run", "--json", "--seed", seed, str(folder(tmp_path, a=GOOD)))
    assert document(done)["scenarios"][0]["seed"] == told


def test_a_file_named_twice_runs_once(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=UNCHECKED)
    done = call("run", "--json", str(where), str(where / "a.yaml"))
    assert len(document(done)["scenarios"]) == 1


def test_record_keeps_one_run_and_only_one(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=UNCHECKED, b=UNCHECKED)
    kept = tmp_path / "run.mcap"
    assert call("run", str(where / "a.yaml"), "--record", str(kept)).code == 0
    assert kept.stat().st_size > 500
    done = call("run", str(where), "--record", str(kept))
    assert done.code == 2
    assert "--record keeps one run, but 2 scenarios are named" in done.err


def test_nothing_is_written_that_was_not_asked_for(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = folder(tmp_path, a=GOOD)
    monkeypatch.chdir(where)
    call("run", ".")
    assert [p.name for p in where.iterdir()] == ["a.yaml"]


@pytest.mark.parametrize("width", [80, 120])
def test_the_table_keeps_inside_the_terminal(
    call: Call, tmp_path: Path, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(text, "PIPED_WIDTH", width)
    done = call("run", str(shipped("scenarios") / "node-drops-out.yaml"), str(folder(tmp_path, a=FAILING)))
    table = [line for line in done.out.splitlines() if not line.startswith("     ")]
    assert max(map(len, table)) <= width
    whole = " ".join(done.out.split())
    assert "at 15 s gross is 20 t" in whole
    assert "recorded once 40 s 1 time" in whole
