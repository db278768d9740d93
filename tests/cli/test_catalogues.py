"""The verbs that look things up say the same in a table and in JSON, and all of it."""

from __future__ import annotations

import json
from pathlib import Path

from benchsim.checks.forms import FORMS
from benchsim.ground.library import shipped
from benchsim.outputs.output import protocol_names
from benchsim.scenario.published import json_schema
from tests.cli.calls import Call


def words(text: str) -> str:
    return " ".join(text.split())


def test_protocols_lists_and_tells(call: Call) -> None:
    listed = json.loads(call("protocols", "--json").out)["protocols"]
    assert [p["name"] for p in listed] == list(protocol_names())
    told = call("protocols", "scp0499").out
    # SCP-0499 4.1 and 4.5: W asks for the displayed weight, Z tries to zero.
    assert "\nW " in told
    assert "\nZ " in told
    assert json.loads(call("protocols", "scp0499", "--json").out)["name"] == "scp0499"


def test_scenarios_lists_those_that_ship(call: Call) -> None:
    names = [path.name for path in sorted(shipped("scenarios").glob("*.yaml"))]
    assert all(name in call("scenarios").out for name in names)
    found = json.loads(call("scenarios", "--json").out)
    assert [s["file"].rpartition("/")[2] for s in found["scenarios"]] == names
    assert found["folder"] == str(shipped("scenarios"))


def test_scenarios_are_written_out_whole_and_again(call: Call, tmp_path: Path) -> None:
    where = tmp_path / "new" / "mine"
    for _ in range(2):
        assert call("scenarios", "--copy", str(where)).code == 0
    theirs = sorted(shipped("scenarios").glob("*.yaml"))
    assert [p.read_bytes() for p in sorted(where.iterdir())] == [p.read_bytes() for p in theirs]
    assert json.loads(call("scenarios", "--copy", str(where), "--json").out)["folder"] == str(where)


def test_writing_scenarios_out_never_loses_one_that_was_changed(call: Call, tmp_path: Path) -> None:
    changed = tmp_path / "overload.yaml"
    changed.write_text("mine", "utf-8")
    done = call("scenarios", "--copy", str(tmp_path))
    assert done.code == 2
    assert done.err.startswith(f"{changed} is there already")
    assert [p.read_text("utf-8") for p in tmp_path.iterdir()] == ["mine"]
    assert call("scenarios", "--copy", str(changed)).code == 2


def test_checks_shows_every_form_with_its_example(call: Call) -> None:
    listed = json.loads(call("checks", "--json").out)["forms"]
    assert [f["example"] for f in listed] == [form.example for form in FORMS]
    assert "at T" in call("checks").out


def test_schema_prints_the_json_schema(call: Call) -> None:
    assert json.loads(call("schema").out) == json_schema()
