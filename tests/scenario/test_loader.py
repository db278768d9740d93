"""What is wrong with the form of a scenario file is told whole, each at its line and column."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput, BenchsimError, ManyBadInputs
from benchsim.scenario.loader import load, load_text
from benchsim.scenario.story import ITEMS
from benchsim.scenario.text import MAX_BYTES

HEAD = "title: t\nscale: {capacity: 3 t, interval: 1 kg}\n"


def told(text: str) -> list[str]:
    """The errors of a scenario text, one a line."""
    with pytest.raises(BenchsimError) as caught:
        load_text(text, "s.yaml")
    return str(caught.value).splitlines()


def test_two_lines_are_a_scenario() -> None:
    file = load_text(HEAD, "s.yaml").file
    assert (file.title, file.seed, file.rules, file.timeline, file.checks) == ("t", 1, "r76-iii", [], [])


def test_quantities_are_read_exactly_and_in_their_base_unit() -> None:
    text = "title: t\nscale: {capacity: 60 t, interval: 20 kg, receptor: {length: 1800 cm, damping: 8 %}}\n"
    scale = load_text(text, "s.yaml").file.scale
    assert (str(scale.capacity), str(scale.interval)) == ("60000", "20")
    assert (str(scale.receptor.length), str(scale.receptor.damping)) == ("18.00", "0.08")


@pytest.mark.parametrize(
    ("text", "error"),
    [
        (
            "title: t\nscale: {capacity: 3 t}\n",
            "s.yaml:2:1: the key 'interval' of scale is missing; write it: the scale interval d: 1, 2 or 5 "
            "times a power of ten",
        ),
        ("scale: {capacity: 3 t, interval: 1 kg}\n", "s.yaml:1:1: the key 'title' is missing"),
        (HEAD + "sead: 7\n", "s.yaml:3:1: unknown key 'sead'; did you mean 'seed'?"),
        (HEAD + "seed: 7.5\n", "s.yaml:3:7: seed: 7.5 is not what stands here; write a whole number"),
        (HEAD + "seed: -1\n", "s.yaml:3:7: seed: -1 is too small; at least 0"),
        (HEAD + "seed: true\n", "s.yaml:3:7: seed: True is not what stands here"),
        (HEAD + "cells: {count: 17}\n", "s.yaml:3:16: count: 17 is too large; at most 16"),
        (HEAD + "cells: {count: 0}\n", "s.yaml:3:16: count: 0 is too small; at least 1"),
        (HEAD + "cells: {capacity: -2 t}\n", "s.yaml:3:19: capacity: -2 t is too small; more than 0 kg"),
        (HEAD + "cells: {capacity: .nan}\n", "s.yaml:3:19: capacity: 'nan' is not a mass"),
        (HEAD + "cells: {capacity: .inf}\n", "s.yaml:3:19: capacity: 'inf' is not a mass"),
        (HEAD + "cells: {capacity: 1e999 t}\n", "s.yaml:3:19: capacity: 1e999 t is out of any range"),
        (
            HEAD + "cells: {capacity: 2000}\n",
            "s.yaml:3:19: capacity: '2000' has no unit; write a mass, as '2000 kg'",
        ),
        (
            HEAD + "cells: {capacity: 2 m}\n",
            "s.yaml:3:19: capacity: '2 m' is a length, not a mass; units of mass: kg",
        ),
        (
            HEAD + "cells: {capacity: 2 tt}\n",
            "s.yaml:3:19: capacity: '2 tt' has the unknown unit 'tt'; did you mean 't'?",
        ),
        (HEAD + "cells: {rated output: [2]}\n", "s.yaml:3:23: rated output: a list is not a bridge output"),
        (HEAD + "cells: {at: [[1 m, 2 q]]}\n", "s.yaml:3:20: at 1: '2 q' has the unknown unit 'q'"),
        (HEAD + "cells: {at: [over]}\n", "s.yaml:3:14: at 1: 'over' is not a position; write [9 m, 1.5 m]"),
        (
            HEAD + "nodes: {noise: 12}\n",
            "s.yaml:3:16: noise: '12' has no unit; write '12 counts' or '20 nV/√Hz'",
        ),
        (HEAD + "nodes: {noise: -3 counts}\n", "s.yaml:3:16: noise: '-3 counts' of noise; from 0 counts"),
        (
            HEAD + "host: {zero tracking: onn}\n",
            "s.yaml:3:23: zero tracking: 'onn' is not a switch; write on",
        ),
        (
            HEAD + "host: {zero tracking: yes}\n",
            "s.yaml:3:23: zero tracking: 'yes' is not a switch; write on",
        ),
        (HEAD + "host: {initial zero: No}\n", "s.yaml:3:22: initial zero: 'No' is not a switch; write off"),
        ("title:\nscale: {capacity: 3 t, interval: 1 kg}\n", "s.yaml:1:7: title is empty; write a text"),
        (
            "title: ''\nscale: {capacity: 3 t, interval: 1 kg}\n",
            "s.yaml:1:8: title is empty; at least 1 character",
        ),
        ("title: t\nscale: {capacity: , interval: 1 kg}\n", "s.yaml:2:19: capacity is empty; write '10 kg'"),
        (
            HEAD + "timeline:\n  - {at: 5 s, command: tare, remove: fill}\n",
            "s.yaml:4:30: both 'command' and 'remove'; one action an item",
        ),
        (
            HEAD + "host: {waiting: 0.5 us}\n",
            "s.yaml:3:17: waiting: 0.5 us is not a whole number of microseconds",
        ),
        (HEAD + "link: [1]\n", "s.yaml:3:7: link: a list is not what stands here; write a mapping"),
        (
            HEAD + "checks: at 5 s gross is zero\n",
            "s.yaml:3:9: checks: 'at 5 s gross is zero' is not what stands here",
        ),
        (
            HEAD + "timeline:\n  - {at: 5 s}\n",
            "s.yaml:4:5: timeline 1: this item does nothing; add one of: place,",
        ),
        (
            HEAD + "timeline:\n  - {at: 5 s, plase: 2 t}\n",
            "s.yaml:4:5: timeline 1: unknown key 'plase'; did you mean 'place'?",
        ),
        (HEAD + "timeline:\n  - wait\n", "s.yaml:4:5: timeline 1: 'wait' is not an item of a timeline"),
        (
            HEAD + "timeline:\n  - {at: 5 s, command: tar}\n",
            "s.yaml:4:24: command: 'tar' is not known here; did you mean 'tare'? known: zero, tare",
        ),
        (
            HEAD + "timeline:\n  - {at: 5 s, place: 2 t}\n",
            "s.yaml:4:5: the key 'name' of timeline 1 is missing",
        ),
        (
            HEAD + "timeline:\n  - {at: 5 s, fault: mud, on: deck}\n",
            "s.yaml:4:31: on: 'deck' is not understood; write all, cell 3",
        ),
        (
            HEAD + "timeline:\n  - {at: 5 s, pair: 3}\n",
            "s.yaml:4:21: pair: 3 is not what stands here; write a text",
        ),
        ("- 1\n- 2\n", "s.yaml:1:1: a list is not a scenario; write keys: title, scale, ..."),
        ("just words\n", "s.yaml:1:1: 'just words' is not a scenario"),
    ],
)
def test_each_mistake_is_told_at_its_place_with_what_would_be_right(text: str, error: str) -> None:
    lines = told(text)
    assert len(lines) == 1
    assert lines[0].startswith(error)


@pytest.mark.parametrize(("word", "meant"), [("on", True), ("off", False), ("true", True), ("false", False)])
def test_a_switch_is_on_or_off_or_yaml_s_own_true_or_false(word: str, meant: bool) -> None:
    assert load_text(HEAD + f"host: {{zero tracking: {word}}}\n", "s.yaml").file.host.zero_tracking is meant


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file() -> None:
    lines = told(
        "title: 3\n"
        "scale: {capacity: 60, intervall: 20 kg}\n"
        "timeline:\n"
        "  - {at: 5, place: 3 t, nme: b}\n"
        "checks: [3]\n"
    )
    assert [line.split(": ")[0] for line in lines] == [
        "s.yaml:1:8", "s.yaml:2:19", "s.yaml:2:23", "s.yaml:4:10", "s.yaml:4:25", "s.yaml:5:10",
    ]  # fmt: skip


def test_a_misspelt_key_is_not_told_as_missing_as_well() -> None:
    assert told("title: t\nscale: {capasity: 3 t, interval: 1 kg}\n") == [
        "s.yaml:2:9: unknown key 'capasity'; did you mean 'capacity'? "
        "known here: capacity, interval, receptor"
    ]


def test_a_file_that_is_not_there_is_bad_input(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="No such file"):
        load(tmp_path / "none.yaml")


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"title: \xff\xfe\n", "is not UTF-8"),
        (b"#" * (MAX_BYTES + 1), f"at most {MAX_BYTES} bytes"),
        (b"", "the file is empty"),
    ],
)
def test_a_file_that_cannot_be_a_text_is_bad_input(tmp_path: Path, content: bytes, found: str) -> None:
    path = tmp_path / "s.yaml"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=found):
        load(path)


def test_a_folder_is_no_scenario(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is a folder"):
        load(tmp_path)


def test_a_mark_before_the_first_letter_is_no_part_of_the_text() -> None:
    assert load_text("\ufeff" + HEAD, "s.yaml").file.title == "t"


VALUES = st.sampled_from(
    [
        "",
        "x",
        "5 s",
        "3 t",
        "-1 kg",
        "[1 m, 2 m]",
        "{a: 1}",
        "[]",
        ".nan",
        "1e400",
        "on",
        "17",
        "cell 3",
        "null",
    ]
)
KEYS = st.sampled_from(["at", "name", "position", "every", "until", "for", "with", "on", "as", *ITEMS])


@given(st.lists(st.dictionaries(KEYS, VALUES, max_size=5), max_size=4))
def test_no_timeline_gets_a_traceback(items: list[dict[str, str]]) -> None:
    lines = "".join(
        "  - {" + ", ".join(f"{key}: {value}" for key, value in item.items()) + "}\n" for item in items
    )
    refused = ""
    try:
        load_text(f"{HEAD}timeline:\n{lines}", "s.yaml")
    except (BadInput, ManyBadInputs) as error:
        refused = str(error)
    assert all(line.startswith("s.yaml:") for line in refused.splitlines())
