"""The verb `faults` says the same in a table and in JSON, and all of it; and it plots what it ran."""

from __future__ import annotations

import json

import pytest

from benchsim.cli.fault_story import lines, play
from benchsim.cli.faults import example
from benchsim.faults.fault import Entry, catalogue
from tests.cli.calls import Call
from tests.scenario.texts import DECK, built

ENTRIES = list(catalogue().values())
ONE_A_STAGE = list({entry.stage: entry for entry in ENTRIES}.values())
EVERY = pytest.mark.parametrize("entry", ENTRIES, ids=lambda e: e.name)


def words(text: str) -> str:
    return " ".join(text.split())


def test_faults_lists_the_whole_catalogue(call: Call) -> None:
    table, listed = call("faults"), json.loads(call("faults", "--json").out)
    assert [f["name"] for f in listed] == list(catalogue())
    for name, entry in catalogue().items():
        assert f"\n{name} " in table.out
        assert entry.seen.split()[0] in table.out
        assert all(p.word.split()[0] in table.out for p in entry.parameters)


def test_json_is_a_list_of_these_keys_and_no_more(call: Call) -> None:
    listed = json.loads(call("faults", "--json").out)
    for told, entry in zip(listed, ENTRIES, strict=True):
        assert list(told) == ["name", "stage", "parameters", "seen", "cause", "confirm", "caution"]
        assert (told["stage"], told["seen"], told["cause"]) == (entry.stage, entry.seen, entry.cause)
        assert (told["confirm"], told["caution"]) == (entry.confirm, entry.caution)
        for parameter, own in zip(told["parameters"], entry.parameters, strict=True):
            assert list(parameter) == ["name", "default", "unit", "allowed", "meaning"]
            assert (parameter["name"], parameter["default"]) == (own.word, own.shown(own.default))
            assert own.dimension is None or parameter["default"].endswith(f" {parameter['unit']}")


@pytest.mark.parametrize("entry", ONE_A_STAGE, ids=lambda e: e.name)
def test_a_fault_is_told_with_all_a_technician_wants_to_know_and_plotted(call: Call, entry: Entry) -> None:
    done = call("faults", entry.name)
    assert done.code == 0
    flat = words(done.out)
    for text in (entry.seen, entry.cause, entry.confirm, entry.caution, "Simulated weights"):
        assert words(text) in flat
    for parameter in entry.parameters:
        assert parameter.word in flat
        assert parameter.shown(parameter.default) in flat
    for row in ("weight", "true mass", "changed by", "cell 1 by"):
        plot = next(line for line in done.out.splitlines() if line.startswith(row))
        assert plot.count("│") == 2
    assert json.loads(call("faults", entry.name, "--json").out)["name"] == entry.name


def row(told: list[str], name: str) -> list[str]:
    """The bars of one row, before the fault, while it lasts, and after."""
    line = next(line for line in told if line.startswith(name))
    before, during, after = line[12:].split("  ")[0].split("│")
    return [before, during, after]


def test_the_plot_of_a_shift_is_a_step_up_and_down() -> None:
    """0.02 mV/V of 2 mV/V of 15 t is 150 kg."""
    before, during, after = row(told := lines(play(catalogue()["zero-shift"])), "changed by")
    assert set(before[4:]) == {"▁"}
    assert set(during[2:]) == {"█"}
    assert set(after[3:]) == {"▁"}
    assert "0 kg to 150 kg" in next(line for line in told if line.startswith("changed by"))


def test_the_plot_of_a_node_without_power_has_no_figure_and_says_why() -> None:
    told = lines(play(catalogue()["power-loss"]))
    before, during, after = row(told, "weight")
    assert set(during[3:]) == {"·"}
    assert "·" not in before[4:] + after[4:]
    assert any("node 1: lamp dark: no power (first at 8 s)" in line for line in told)


def test_what_takes_hours_is_shortened_and_says_so() -> None:
    story = play(catalogue()["span-drift"])
    assert lines(story)[-1].startswith("shortened")
    assert all(value == "8 s" for value in story.figures.values())


@EVERY
def test_the_line_shown_for_a_fault_is_one_that_a_scenario_takes(entry: Entry) -> None:
    assert built(f"{DECK}timeline:\n  - {example(entry)}\n").plan.timeline
