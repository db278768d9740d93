"""The verb `faults` says the same in a table and in JSON, and all of it."""

from __future__ import annotations

import json

import pytest

from benchsim.faults.fault import catalogue
from tests.cli.calls import Call


def words(text: str) -> str:
    return " ".join(text.split())


def test_faults_lists_the_whole_catalogue(call: Call) -> None:
    table, listed = call("faults"), json.loads(call("faults", "--json").out)
    assert [f["name"] for f in listed] == list(catalogue())
    for told in listed:
        assert list(told) == ["name", "stage", "parameters", "seen", "cause", "confirm", "caution"]
        assert all(list(p) == ["name", "default", "unit", "allowed", "meaning"] for p in told["parameters"])
    for name, entry in catalogue().items():
        assert f"\n{name} " in table.out
        assert entry.seen.split()[0] in table.out


@pytest.mark.parametrize("name", catalogue())
def test_a_fault_is_told_with_all_a_technician_wants_to_know(call: Call, name: str) -> None:
    entry = catalogue()[name]
    done = call("faults", name)
    assert done.code == 0
    flat = words(done.out)
    for text in (entry.seen, entry.cause, entry.confirm, entry.caution):
        assert words(text) in flat
    told = json.loads(call("faults", name, "--json").out)
    assert (told["seen"], told["confirm"], told["caution"]) == (entry.seen, entry.confirm, entry.caution)
    assert [p["name"] for p in told["parameters"]] == [p.word for p in entry.parameters]
    for parameter in entry.parameters:
        assert parameter.word in flat
        assert parameter.shown(parameter.default) in flat


@pytest.mark.parametrize("name", catalogue())
def test_the_line_shown_for_a_fault_is_one_that_a_scenario_takes(call: Call, name: str) -> None:
    from tests.scenario.texts import DECK, built

    line = next(li for li in call("faults", name).out.splitlines() if li.startswith("{at:"))
    assert built(f"{DECK}timeline:\n  - {line}\n").plan.timeline
