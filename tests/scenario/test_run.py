"""A run: verdicts, the same for the same seed, recorded when wanted, and blamed on the right line."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput
from benchsim.ground.library import profiles_folder, shipped
from benchsim.record.reader import read_recording
from benchsim.scenario.run import Result, Stopped, run
from tests.scenario.texts import DECK, HEAD

SMALL = HEAD + (
    "timeline:\n  - {at: 4 s, place: 1 t, name: block}\n"
    "checks:\n  - at 10 s gross is 1 t within 0 d\n  - at 10 s gross is 2 t within 0 d\n"
)


def kept(folder: Path, text: str, name: str = "s.yaml") -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_a_result_says_which_checks_held_and_what_was_found(tmp_path: Path) -> None:
    result = run(kept(tmp_path, SMALL))
    assert [v.passed for v in result.verdicts] == [True, False]
    assert not result.passed
    document = result.document()
    keys = ["file", "title", "seed", "passed", "sim_seconds", "wall_seconds", "links", "checks"]
    assert list(document) == keys
    assert (document["title"], document["seed"], document["sim_seconds"]) == ("t", 1, 12.0)
    assert [list(c) for c in document["checks"]] == [["name", "passed", "at_s", "expected", "found"]] * 2
    assert document["checks"][1] == {
        "name": "at 10 s gross is 2 t within 0 d",
        "passed": False,
        "at_s": 10.0,
        "expected": result.verdicts[1].expected,
        "found": result.verdicts[1].found,
    }
    assert "1000 kg" in document["checks"][1]["found"]


def test_a_scenario_without_checks_runs_to_its_end_and_passes(tmp_path: Path) -> None:
    result = run(kept(tmp_path, HEAD + "lasts: 3 s\n"))
    assert (result.passed, result.verdicts, result.sim_us) == (True, (), 3_000_000)


def figures(result: Result) -> list[bytes]:
    columns = result.trace.columns()
    return [columns.t_us.tobytes(), columns.gross_d.tobytes(), columns.cells_kg.tobytes()]


def test_the_same_file_and_seed_give_the_same_run_and_another_seed_another(tmp_path: Path) -> None:
    path = kept(tmp_path, SMALL)
    assert figures(run(path)) == figures(run(path, seed=1))
    assert figures(run(path)) != figures(run(path, seed=2))


def test_being_watched_and_recorded_changes_nothing(tmp_path: Path) -> None:
    path = shipped("scenarios") / "lossy-radio.yaml"
    seen: list[tuple[int, int]] = []
    watched = run(path, progress=lambda now, end: seen.append((now, end)), record=tmp_path / "run.mcap")
    assert figures(watched) == figures(run(path))
    assert [now for now, _ in seen] == sorted(now for now, _ in seen)
    assert seen[-1] == (watched.sim_us, watched.sim_us)
    assert len(seen) > 5


def test_a_run_that_is_stopped_gives_no_verdict_and_a_whole_recording(tmp_path: Path) -> None:
    path, record = kept(tmp_path, HEAD + "lasts: 2 min\n"), tmp_path / "run.mcap"
    with pytest.raises(
        Stopped, match=r"s\.yaml: stopped at 40 s of 120 s; .*run\.mcap holds the run up to there"
    ):
        run(path, record=record, progress=lambda now_us, _: now_us >= 40_000_000)
    recording = read_recording(record)
    assert recording.missing == ()
    assert recording.trace.ended_us == 40_000_000
    with pytest.raises(Stopped, match=r"s\.yaml: stopped at 0 s of 120 s$"):
        run(path, progress=lambda *_: True)


def test_a_run_that_is_asked_to_stop_at_its_end_has_ended(tmp_path: Path) -> None:
    path = kept(tmp_path, HEAD + "lasts: 3 s\n")
    assert run(path, progress=lambda now_us, ends_us: now_us == ends_us).sim_us == 3_000_000


def test_whatever_breaks_a_recorded_run_has_it_noted_that_the_recording_is_cut_short(tmp_path: Path) -> None:
    path, record = kept(tmp_path, HEAD + "lasts: 2 min\n"), tmp_path / "run.mcap"

    def broken(now_us: int, _ends_us: int) -> None:
        if now_us:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt) as caught:
        run(path, record=record, progress=broken)
    assert caught.value.__notes__ == [f"{record}: the recording is cut short"]
    assert read_recording(record).missing


def test_a_recording_holds_the_scenario_and_its_bytes_are_the_same_each_time(tmp_path: Path) -> None:
    path = kept(tmp_path, SMALL)
    for name in ("one.mcap", "two.mcap"):
        run(path, record=tmp_path / name)
    one, two = ((tmp_path / name).read_bytes() for name in ("one.mcap", "two.mcap"))
    assert one == two
    assert SMALL.encode() in one
    assert b"s.yaml" in one


def test_a_recording_holds_the_rules_that_are_the_scenario_s_own(tmp_path: Path) -> None:
    rules = (profiles_folder() / "r76-iii.toml").read_text("utf-8") + "# changed by hand\n"
    (tmp_path / "mine.toml").write_text(rules, "utf-8")
    path = kept(tmp_path, HEAD + "lasts: 1 s\nrules: mine.toml\n")
    run(path, record=tmp_path / "run.mcap")
    assert b"# changed by hand" in (tmp_path / "run.mcap").read_bytes()


def test_a_recording_holds_every_file_that_the_scenario_s_own_rules_build_on(tmp_path: Path) -> None:
    (tmp_path / "house").mkdir()
    (tmp_path / "mine.toml").write_text('base = "house/mine.toml"\ntitle = "site"\n', "utf-8")
    (tmp_path / "house" / "mine.toml").write_text('base = "hb44-iii"\ntitle = "house"\n', "utf-8")
    path, record = kept(tmp_path, HEAD + "lasts: 1 s\nrules: mine.toml\n"), tmp_path / "run.mcap"
    run(path, record=record)
    found = read_recording(record)
    assert [name for name, _ in found.head.sources] == ["s.yaml", "mine.toml", "base-mine.toml"]
    assert 'title = "house"' in dict(found.head.sources)["base-mine.toml"]
    assert found.complete


def test_a_recording_is_not_written_over_the_scenario(tmp_path: Path) -> None:
    path = kept(tmp_path, SMALL)
    with pytest.raises(BadInput, match="is not a recording"):
        run(path, record=path)
    assert path.read_text("utf-8") == SMALL


def test_a_scenario_whose_file_s_name_is_no_text_is_recorded_under_an_escaped_one(tmp_path: Path) -> None:
    path, record = kept(tmp_path, HEAD + "lasts: 1 s\n", os.fsdecode(b"bad\xff.yaml")), tmp_path / "run.mcap"
    run(path, record=record)
    found = read_recording(record)
    assert [name for name, _ in found.head.sources] == ["bad\\udcff.yaml"]
    assert found.complete


def test_the_wall_clock_is_the_caller_s(tmp_path: Path) -> None:
    ticks = iter([100.0, 102.5])
    path = kept(tmp_path, HEAD + "lasts: 1 s\n")
    assert run(path, clock=lambda: next(ticks)).wall_seconds == 2.5
    assert run(path).wall_seconds == 0


@pytest.mark.parametrize(
    ("timeline", "place", "found"),
    [
        (
            "  - {at: 1 s, drive: car, axles: [{mass: 1 t}], stands: 1 s}\n"
            "  - {at: 2 s, command: zero}\n"
            "  - {at: 2 s, place: 2 t, name: car}\n",
            ":8:5: ",
            "car",
        ),
        (
            "  - {at: 1 s, drive: car, axles: [{mass: 1 t}], stands: 1 s}\n  - {at: 80 s, remove: car}\n",
            ":7:5: ",
            "car",
        ),
    ],
)
def test_what_only_the_run_can_refuse_is_told_at_the_item_s_place(
    tmp_path: Path, timeline: str, place: str, found: str
) -> None:
    path = kept(tmp_path, DECK + "timeline:\n" + timeline)
    with pytest.raises(BadInput) as caught:
        run(path)
    assert str(caught.value).startswith(f"{path}{place}")
    assert found in str(caught.value)
