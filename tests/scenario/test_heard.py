"""What a host heard, from a run and from its recording: the same, since a host has nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput
from benchsim.host.diagnosis.diagnose import seen
from benchsim.record.container import INDICATIONS
from benchsim.scenario.heard import Heard, Span, heard_in_recording, heard_in_run
from benchsim.scenario.run import run

S = 1_000_000
COUNTED = ("refused",)
"""What only the host itself can count, since it has the keys."""
FILE = """title: A corner is tried
seed: 5
lasts: 40 s
scale: {capacity: 3 t, interval: 1 kg, receptor: {length: 1.5 m, width: 1.5 m, dead load: 400 kg}}
cells: {count: 4, capacity: 2 t}
link: {delay: 4 ms, jitter: 3 ms, loss: 3 %, duplicates: 2 %}
timeline:
  - {at: 0 s, fault: span-drift, on: cell 2, with: {drift: -5 %, over: 0 s}}
  - {at: 8 s, place: 500 kg, name: a}
  - {at: 18 s, place: 500 kg, name: b}
  - {at: 28 s, remove: b}
  - {at: 34 s, remove: a}
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("heard") / "corner.yaml"
    path.write_text(FILE)
    return path


def words(heard: Heard) -> list[tuple[str, int, str, str, str]]:
    hearing = heard.ear.hearing(heard.case.addresses, heard.case.rate_hz)
    places = seen(heard.case, hearing).places
    return [
        (p.what, p.number, s.name, s.word, s.text)
        for p in places
        for s in p.signs.values()
        if s.name not in COUNTED
    ]


def test_a_recording_says_what_its_run_said(file: Path, tmp_path: Path) -> None:
    kept = tmp_path / "corner.mcap"
    run(file, record=kept)
    live, read = heard_in_run(file, None, Span()), heard_in_recording(kept, Span())
    assert read.case == live.case
    assert read.missing == ()
    assert words(read) == words(live)
    assert ("cell", 2, "answer", "less") in [word[:4] for word in words(read)]


def test_a_recording_without_frames_is_refused(file: Path, tmp_path: Path) -> None:
    kept = tmp_path / "corner.mcap"
    run(file, record=kept, depth=INDICATIONS)
    with pytest.raises(BadInput, match="keeps no frames"):
        heard_in_recording(kept, Span())


def test_nothing_outside_the_span_is_heard(file: Path) -> None:
    heard = heard_in_run(file, None, Span(9 * S, 17 * S))
    node = heard.ear.hearing(heard.case.addresses, heard.case.rate_hz).nodes[1]
    assert heard.span_us == (9 * S, 17 * S)
    assert node.arrived_us.min() >= 9 * S
    assert node.arrived_us.max() <= 17 * S
    assert [note.empty for note in heard.case.notes] == [False]


def test_an_empty_span_is_refused(file: Path) -> None:
    with pytest.raises(BadInput, match="nothing lies between 40 s and 40 s"):
        heard_in_run(file, None, Span(40 * S))
