"""The verb `run`: verdicts for people and for machines, and an exit code that can be trusted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

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
    assert "1 of 1 scenario passed; 2 of 2 checks held\n" in done.out
    assert "never an instrument" in done.out


def test_a_failed_check_is_exit_code_1_and_says_what_was_wanted_and_found(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, failing=FAILING) / "failing.yaml"))
    assert done.code == 1
    assert "FAIL" in done.out
    assert "gross 0 kg" in done.out
    assert "expected gross 1 t" in done.out
    told = done.out.split("\n\n")[1].splitlines()
    assert told[0] == "     at 2 s gross is 1 t within 0 d"
    assert told[3] == "     at 2 s     0 kg, centre of zero; true mass 0 kg"
    assert len(told) <= 6


def test_a_folder_runs_all_its_scenarios_and_a_bad_one_does_not_stop_the_others(
    call: Call, tmp_path: Path
) -> None:
    where = folder(tmp_path, a=GOOD, b=BAD, c=FAILING)
    (where / "notes.txt").write_text("not a scenario")
    done = call("run", str(where))
    assert done.code == 2
    assert done.err == f"{where}/b.yaml:3:1: unknown key 'sead'; did you mean 'seed'?\n"
    assert (
        "1 of 2 scenarios passed; 2 of 3 checks held, 1 failed; 1 file could not be read or run\n" in done.out
    )


def test_json_is_one_object_with_exactly_these_keys(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=GOOD, c=FAILING)
    done = call("run", "--json", str(where))
    assert (done.code, done.err) == (1, "")
    found = document(done)
    assert list(found) == ["scenarios", "passed", "errors"]
    assert (found["passed"], found["errors"]) == (False, [])
    keys = ["file", "title", "seed", "passed", "sim_seconds", "wall_seconds", "links", "checks"]
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
    assert found["errors"] == [
        {
            "file": f"{tmp_path}/b.yaml",
            "line": 3,
            "column": 1,
            "found": "unknown key 'sead'",
            "right": "did you mean 'seed'?",
        }
    ]


def test_json_tells_every_mistake_of_a_file(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=BAD + "lasts: 3\n")
    found = document(call("run", "--json", str(where)))
    assert [(e["line"], e["column"]) for e in found["errors"]] == [(3, 1), (4, 8)]


def test_only_bad_files_are_still_one_json_object(call: Call, tmp_path: Path) -> None:
    done = call("run", "--json", str(tmp_path / "none.yaml"))
    found = document(done)
    assert (done.code, found["scenarios"], found["passed"]) == (2, [], False)
    (error,) = found["errors"]
    assert list(error) == ["file", "line", "column", "found", "right"]
    assert (error["file"], error["line"], error["found"]) == (f"{tmp_path}/none.yaml", None, "No such file")


def test_json_tells_of_a_folder_without_scenarios(call: Call, tmp_path: Path) -> None:
    (error,) = document(call("run", "--json", str(tmp_path)))["errors"]
    assert (error["file"], error["found"]) == (str(tmp_path), "no scenario in this folder")


def test_a_bad_file_alone_is_told_without_verdicts_of_nothing(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, b=BAD)))
    assert (done.code, done.out) == (2, "")
    assert len(done.err.splitlines()) == 1


def test_a_folder_without_scenarios_is_bad_input(call: Call, tmp_path: Path) -> None:
    done = call("run", str(tmp_path))
    assert done.code == 2
    assert f"{tmp_path}: no scenario in this folder" in done.err


def test_a_scenario_without_checks_says_so(call: Call, tmp_path: Path) -> None:
    done = call("run", str(folder(tmp_path, a=UNCHECKED) / "a.yaml"))
    assert done.code == 0
    assert "no checks: it ran to its end, and nothing was asked of it" in done.out


def test_a_seed_takes_the_place_of_the_scenario_s_own(call: Call, tmp_path: Path) -> None:
    done = call("run", "--json", "--seed", "7", str(folder(tmp_path, a=GOOD)))
    assert document(done)["scenarios"][0]["seed"] == 7


@pytest.mark.parametrize("seed", ["abc", "-1", "1.5", "", str(2**63), "9" * 5000, "٣"])
def test_a_seed_that_a_file_may_not_have_is_refused_on_the_command_line_too(
    call: Call, tmp_path: Path, seed: str
) -> None:
    where = folder(tmp_path, a=GOOD, b=f"{UNCHECKED}seed: {seed or '{}'}\n")
    done = call("run", f"--seed={seed}", str(where / "a.yaml"))
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("--seed: ")
    assert f"a whole number from 0 to {2**63 - 1}" in done.err
    assert call("run", str(where / "b.yaml")).code == 2


@pytest.mark.parametrize("word", ["", " "])
def test_an_empty_name_is_no_folder(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, word: str
) -> None:
    monkeypatch.chdir(folder(tmp_path, a=UNCHECKED))
    done = call("run", word)
    assert (done.code, done.out) == (2, "")
    assert "names nothing" in done.err


def test_a_name_that_no_file_can_have_is_bad_input(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=UNCHECKED)
    for word in ("n" * 5000, f"{where}/{'n' * 300}"):
        done = call("run", "--json", word, str(where / "a.yaml"))
        assert (done.code, len(document(done)["errors"])) == (2, 1)
        assert len(document(done)["scenarios"]) == 1


def test_a_file_named_twice_runs_once_however_it_is_spelt(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = folder(tmp_path, a=UNCHECKED)
    (where / "inner").mkdir()
    monkeypatch.chdir(where)
    done = call("run", "--json", str(where), "a.yaml", "./a.yaml", "inner/../a.yaml", str(where / "a.yaml"))
    assert len(document(done)["scenarios"]) == 1


@pytest.mark.parametrize("word", ["quiet-platform", "quiet-platform.yaml"])
def test_a_shipped_scenario_runs_by_its_name_from_any_folder(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, word: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = call("run", "--json", word)
    assert done.code == 0
    file = shipped("scenarios") / "quiet-platform.yaml"
    assert document(done)["scenarios"][0]["file"] == str(file)
    assert len(document(call("run", "--json", word, str(file)))["scenarios"]) == 1


def test_a_file_of_one_s_own_comes_before_the_shipped_one_of_its_name(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder(tmp_path, demo=UNCHECKED))
    assert document(call("run", "--json", "demo.yaml"))["scenarios"][0]["title"] == "t"


def test_record_keeps_one_run_and_only_one(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=UNCHECKED, b=UNCHECKED)
    kept = tmp_path / "run.mcap"
    assert call("run", str(where / "a.yaml"), "--record", str(kept)).code == 0
    assert kept.stat().st_size > 500
    done = call("run", str(where), "--record", str(kept))
    assert done.code == 2
    assert "--record keeps one run, but 2 scenarios are named" in done.err


def test_how_much_a_recording_keeps_can_be_chosen(call: Call, tmp_path: Path) -> None:
    where = folder(tmp_path, a=UNCHECKED) / "a.yaml"
    depths = {"all": [], "with": ["--record-depth", "frames"], "less": ["--record-depth", "indications"]}
    for name, words in depths.items():
        assert call("run", str(where), "--record", str(tmp_path / name), *words).code == 0
    octets = {name: (tmp_path / name).read_bytes() for name in depths}
    assert octets["all"] == octets["with"]
    assert (b"benchsim.frames" in octets["all"], b"benchsim.frames" in octets["less"]) == (True, False)
    done = call("run", str(where), "--record-depth", "frames")
    assert done.code == 2
    assert "--record-depth says how much --record keeps, but there is no --record" in done.err


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
    monkeypatch.setenv("COLUMNS", str(width))
    done = call("run", str(shipped("scenarios") / "node-drops-out.yaml"), str(folder(tmp_path, a=FAILING)))
    table = [line for line in done.out.splitlines() if not line.startswith("     ")]
    assert max(map(len, table)) <= width
    whole = " ".join(done.out.split())
    assert "at 15 s gross is 20 t" in whole
    assert "recorded once 40 s 1 time" in whole


@pytest.mark.parametrize(("asked", "width"), [("50", 50), ("200", 200), ("1", 40), ("wide", 110), ("", 110)])
def test_piped_text_is_as_wide_as_columns_says(
    call: Call, monkeypatch: pytest.MonkeyPatch, asked: str, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", asked)
    widest = max(map(len, call("checks").out.splitlines()))
    assert widest <= max(width, len("A sentence: [when] [how] statement [while a state] [how often]."))
    assert width < 60 or widest > width - 10
