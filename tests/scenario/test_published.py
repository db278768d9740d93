"""The published format: the JSON Schema is the classes', and the prose has every key and every sentence."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from benchsim.checks.forms import FORMS
from benchsim.checks.sentence import parse
from benchsim.ground.library import shipped
from benchsim.scenario import published
from benchsim.scenario.loader import load_text
from benchsim.scenario.run import run
from benchsim.scenario.story import ITEMS
from benchsim.scenario.text import read
from tests.scenario.texts import HEAD

FOLDER = shipped("protocols") / "scenario"
PAGE = (FOLDER / "README.md").read_text("utf-8")
SCHEMA = json.loads((FOLDER / "scenario.schema.json").read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)


def test_the_shipped_schema_is_made_from_the_classes() -> None:
    assert (FOLDER / "scenario.schema.json").read_text("utf-8") == published.text()


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", sorted(shipped("scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_a_shipped_scenario_is_valid_by_the_schema(path: Path) -> None:
    values, _ = read(path.read_text("utf-8"), path.name)
    assert [e.message for e in VALIDATOR.iter_errors(values)] == []


@pytest.mark.parametrize(
    "line",
    [
        "sead: 7",
        "cells: {count: 17}",
        "cells: {capacity: 2000}",
        "cells: {capacity: 2 m}",
        "nodes: {noise: 12}",
        "host: {zero tracking: onn}",
        "host: {zero tracking: yes}",
        "timeline: [{at: 5 s}]",
        "timeline: [{at: 5 s, plase: 2 t, name: b}]",
        "timeline: [{at: 5 s, place: 2 t}]",
        "timeline: [{at: 5 s, command: tar}]",
        "timeline: [{at: 5 s, place: 2 t, name: b, position: [1 m]}]",
    ],
)
def test_schema_and_loader_refuse_the_same(line: str) -> None:
    values, _ = read(HEAD + line, "s.yaml")
    assert not VALIDATOR.is_valid(values)
    with pytest.raises(Exception, match=r"^s\.yaml:3:"):
        load_text(HEAD + line, "s.yaml")


def test_a_quantity_is_a_string_with_a_pattern_and_an_example_that_fits_it() -> None:
    quantities = [s for s in _inside(SCHEMA) if s.get("type") == "string" and "examples" in s]
    assert len(quantities) > 40
    for quantity in quantities:
        assert all(re.search(quantity["pattern"], example) for example in quantity["examples"])
        assert "default" not in quantity or re.search(quantity["pattern"], quantity["default"])


def test_the_page_names_every_key_of_the_format() -> None:
    models = [SCHEMA, *SCHEMA["$defs"].values()]
    keys = {key for model in models for key in model.get("properties", {})}
    assert {key for key in keys if f"`{key}`" not in PAGE} == set()
    assert {verb for verb in ITEMS if f"`{verb}`" not in PAGE} == set()


def test_the_page_has_every_form_of_a_check_and_each_example_is_read() -> None:
    for form in FORMS:
        assert f"`{form.example}`" in PAGE, form.form
        parse(form.example)


def test_the_page_s_scenarios_run_and_pass(tmp_path: Path) -> None:
    blocks = re.findall(r"```yaml\n(title:.*?)```", PAGE, re.DOTALL)
    assert blocks
    for number, block in enumerate(blocks):
        path = tmp_path / f"{number}.yaml"
        path.write_text(block, "utf-8")
        result = run(path)
        assert result.verdicts
        assert [v.found for v in result.verdicts if not v.passed] == []


def test_the_page_s_error_is_the_loader_s() -> None:
    found = re.search(r"```text\n(deck\.yaml:\d+:\d+: .*?)\n```", PAGE, re.DOTALL)
    assert found
    text = "title: t\nscale:\n  capacity: 60 t\n  interval: 15 kg\n"
    from tests.scenario.texts import told

    assert [line.replace("s.yaml", "deck.yaml") for line in told(text)] == found[1].splitlines()


def _inside(schema: Any) -> list[dict[str, Any]]:
    if isinstance(schema, dict):
        return [schema, *(s for inner in schema.values() for s in _inside(inner))]
    return [s for inner in schema for s in _inside(inner)] if isinstance(schema, list) else []
