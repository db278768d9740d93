"""A mistake in the form hides no other: what can be read is judged in the same pass, nothing is made up."""

from __future__ import annotations

import json

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from benchsim.scenario.schema import File
from benchsim.scenario.text import read
from benchsim.scenario.wording import errors_of
from tests.nested import replaced, ways
from tests.scenario.test_no_traceback import DOCUMENTS
from tests.scenario.texts import HEAD, told


def test_form_sentences_references_and_outputs_are_told_together_in_the_file_s_order() -> None:
    text = (
        "title: t\n"
        "sead: 7\n"
        "scale: {capacity: 3 t, interval: 1 kg}\n"
        "cells: {count: 4, rated output: 2}\n"
        "rules: r76-iiiii\n"
        "outputs: [scp0498]\n"
        "timeline:\n"
        "  - {at: 1 s, fault: zero-shft}\n"
        "  - {at: 2 s, ask: scp499, send: W}\n"
        "  - {at: 3, command: zero}\n"
        "checks:\n"
        "  - at 5 s gros is zero\n"
        "  - 7\n"
        '  - at 6 s answer of scp049 is "x"\n'
    )
    assert [line.partition(";")[0] for line in told(text)] == [
        "s.yaml:2:1: unknown key 'sead'",
        "s.yaml:4:33: rated output: '2' has no unit",
        "s.yaml:5:8: unknown rule profile 'r76-iiiii'",
        "s.yaml:6:11: unknown protocol 'scp0498'",
        "s.yaml:8:22: unknown fault 'zero-shft'",
        "s.yaml:9:20: unknown protocol 'scp499'",
        "s.yaml:10:10: at: '3' has no unit",
        "s.yaml:12:12: 'gros'",
        "s.yaml:13:5: checks 2: 7 is not what stands here",
        "s.yaml:14:22: 'scp049'",
    ]


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "timeline:\n  - {at: 1 s, place: 3, name: b}\n  - {at: 2 s, remove: b}\n",
        HEAD + "timeline:\n  - {at: 1 s, place: 1 t, nam: b}\n  - {at: 2 s, move: b, position: centred}\n",
        HEAD + "timeline:\n  - {at: 9 s, fault: outage, fur: 1 s}\n  - {at: 10 s, end fault: outage}\n"
        "checks: [during fault silence indication is invalid]\n",
        HEAD + "timeline:\n  - {at: 1 s, place: 1 t, name: b}\n  - {at: 2 s, remove: 3}\n"
        "  - {at: 3 s, place: 1 t, name: b}\n",
        HEAD + "cells: {count: sixteen}\ntimeline:\n"
        "  - {at: 1 s, place: 1 t, name: b, position: [9 m, 1 m]}\n"
        "  - {at: 2 s, place: 1 t, name: c, position: over cell 9}\n"
        "  - {at: 3 s, fault: zero-shift, on: cell 7}\nchecks: [at 4 s cell 12 is zero]\n",
        HEAD + "nodes: {each: [{address: 3, cells: [one]}]}\ntimeline: [{at: 1 s, release: address 3}]\n"
        "checks: [at 4 s node 3 is flow]\n",
        "title: t\nscale: {capacity: 60 t, interval: 20}\nrules: hb44-iiil-vehicle\n"
        "timeline: [{at: 1 s, drive: a, axles: [{mass: 9 t}, {mass: 9 t, behind: 12 m}]}]\n",
        "title: t\nscale: {capacity: 60 t, interval: 20 kg}\nrules: [hb44-iiil-vehicle]\n",
        "title: t\ncells: {count: 12}\n",
        HEAD + "lasts: forever\nchecks: [at 4000 s gross is zero]\n",
        HEAD + "link: {silence: never, samples per frame: 80}\nnodes: {rate: 1 Hz}\n",
    ],
)
def test_what_depends_on_the_unreadable_is_not_told(text: str) -> None:
    assert len(told(text)) == 1


def test_a_scale_that_cannot_be_is_told_beside_what_else_is_wrong() -> None:
    lines = told(HEAD + "cells: {capacity: 100 kg}\nchecks: [at 1 s gros is zero]\n")
    assert [line.partition(":")[2].split(" ")[0] for line in lines] == ["3:19:", "4:17:"]


def test_a_form_that_is_wrong_everywhere_is_still_only_told() -> None:
    lines = told("title: []\nscale: 3\ncells: 1\nnodes: 1\nlink: 1\ntimeline: {a: 1}\nchecks: {a: b}\nx: 1\n")
    assert len(lines) == 8


@given(st.data())
def test_one_value_of_a_wrong_kind_in_a_good_scenario_is_all_that_is_told(data: st.DataObject) -> None:
    document = data.draw(st.sampled_from(DOCUMENTS))
    way = data.draw(st.sampled_from([way for way in ways(document) if way]))
    wrong = data.draw(st.sampled_from([{"a": 1}, ["q"], "\u20ac\u20ac", 3.7]))
    text = json.dumps(replaced(document, way, wrong))
    values, places = read(text, "s.yaml")
    form: list[str] = []
    try:
        File.model_validate(values)
    except ValidationError as error:
        form = [str(e) for e in errors_of(error, places)]
    assume(form)
    assert told(text) == form
