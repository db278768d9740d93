"""A recording comes back as it was, gives the same bytes each time, and goes only where it may."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import IO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event, LinkState
from benchsim.record.container import BLOCK_US
from benchsim.record.reader import read_recording
from benchsim.record.writer import MAGIC, Recorder
from tests.record.kept import END_US, a_run, cut_off, framed_head, keep, some_frames
from tests.record.runs import contents, head, run, same, trace


def test_a_recording_comes_back_as_it_was(tmp_path: Path) -> None:
    made = a_run()
    keep(tmp_path / "run.mcap", made)
    back = read_recording(tmp_path / "run.mcap")
    assert same(back.trace, made)
    assert len(contents(made)) == 50
    assert back.head == head()
    assert back.complete
    assert back.trace.ended_us == END_US
    assert back.head.sources == (("deck.yaml", "title: A test\n"),)


def test_what_is_no_character_is_escaped_in_the_head_and_comes_back_in_events(tmp_path: Path) -> None:
    made = a_run()
    made.happened(Event(END_US, "load", "a\udcff", "place a\udcff: 1 kg"))
    made.link(END_US, LinkState(3, "lost", "silent\ud800", "\udfff", 0))
    odd = head(title="a\ud800b", sources=(("bad\udcff.yaml", "title: \udcff\n"),))
    keep(tmp_path / "run.mcap", made, header=odd)
    back = read_recording(tmp_path / "run.mcap")
    assert same(back.trace, made)
    assert back.complete
    assert (back.head.title, back.head.sources) == (
        "a\\ud800b",
        (("bad\\udcff.yaml", "title: \\udcff\n"),),
    )


@given(st.lists(st.integers(0, END_US), max_size=12).map(sorted))
def test_the_bytes_do_not_depend_on_how_often_it_was_written_down(
    tmp_path_factory: pytest.TempPathFactory, takes: list[int]
) -> None:
    folder, header, frames = tmp_path_factory.mktemp("takes"), framed_head(), some_frames()
    often = keep(folder / "a", a_run(), takes, header, frames)
    assert often == keep(folder / "b", a_run(), header=header, frames=frames)


def test_a_run_written_down_while_it_goes_on_gives_the_same_bytes(tmp_path: Path) -> None:
    whole, growing = a_run(), trace()
    columns = whole.columns()
    with Recorder(tmp_path / "growing", head()) as recorder:
        for row in range(len(whole)):
            now_us = int(columns.t_us[row])
            one = whole.indication(row)
            growing.add(one, float(columns.true_kg[row]), columns.cells_kg[row].tolist())
            growing.events += [e for e in whole.events if now_us - 100_000 <= e.t_us < now_us]
            growing.link_states += [s for s in whole.link_states if now_us - 100_000 <= s[0] < now_us]
            recorder.take(growing, now_us)
        growing.events += [e for e in whole.events if e.t_us == END_US]
        recorder.finish(growing, END_US)
    assert (tmp_path / "growing").read_bytes() == keep(tmp_path / "whole", whole)


def test_another_process_with_another_hash_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    program = (
        "import sys, hashlib, pathlib\n"
        "from tests.record.kept import a_run, keep\n"
        "print(hashlib.sha256(keep(pathlib.Path(sys.argv[1]), a_run())).hexdigest())\n"
    )
    root = str(Path(__file__).parents[2])
    digests = [
        subprocess.run(
            [sys.executable, "-c", program, str(tmp_path / seed)],
            check=True, capture_output=True, text=True, timeout=60, cwd=root,
            env=os.environ | {"PYTHONHASHSEED": seed, "TZ": f"UTC{seed}", "PYTHONPATH": root},
        ).stdout
        for seed in ("1", "2")
    ]  # fmt: skip
    assert digests[0] == digests[1] != ""


def test_events_written_out_of_order_are_put_in_order_of_time(tmp_path: Path) -> None:
    made = run(20)
    for t_us in (1_500_000, 300_000, 1_500_000, 200_000):
        made.happened(Event(t_us, "answer", "scp0499", f"{t_us}"))
    keep(tmp_path / "run", made)
    times = [e.t_us for e in read_recording(tmp_path / "run").trace.events]
    assert times == [200_000, 300_000, 1_500_000, 1_500_000]


def test_a_recording_that_was_left_without_an_end_holds_its_whole_seconds(tmp_path: Path) -> None:
    made = a_run()
    with Recorder(tmp_path / "run", head()) as recorder:
        recorder.take(made, 3_700_000)
    back = read_recording(tmp_path / "run")
    assert back.trace.newest_us() == 2_900_000
    assert not back.complete
    assert "the last thing in it is at 2.9 s, the run was to last 60 s" in back.missing[-1]


def test_what_was_taken_is_in_the_file_before_it_is_closed(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "run", head())
    recorder.take(a_run(), 2_000_000)
    assert read_recording(tmp_path / "run").trace.newest_us() == 1_900_000
    recorder.__exit__(None, None, None)


def test_a_recording_whose_writer_was_killed_opens(tmp_path: Path) -> None:
    program = (
        "import pathlib, sys\n"
        "from tests.record.kept import Recorder, a_run, head\n"
        "recorder = Recorder(pathlib.Path(sys.argv[1]), head())\n"
        "recorder.take(a_run(), 3_700_000)\n"
        "print('taken', flush=True)\n"
        "sys.stdin.read()\n"
    )
    root = str(Path(__file__).parents[2])
    with subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path / "run")],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=root, env=os.environ | {"PYTHONPATH": root},
    ) as writer:  # fmt: skip
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"taken\n"
        writer.kill()
    assert read_recording(tmp_path / "run").trace.newest_us() == 2_900_000


def test_a_run_without_anything_can_be_kept(tmp_path: Path) -> None:
    with Recorder(tmp_path / "run", head()) as recorder:
        recorder.finish(trace(), 0)
    back = read_recording(tmp_path / "run")
    assert (len(back.trace), back.complete) == (0, True)


# -- where it is written, what is opened -----------------------------------------------------------------


def test_a_folder_is_never_written_over(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is a folder"):
        Recorder(tmp_path, head())
    assert tmp_path.is_dir()


def test_a_file_that_is_no_recording_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "deck.yaml"
    path.write_text("title: mine")
    with pytest.raises(BadInput, match="is not a recording"):
        Recorder(path, head())
    assert path.read_text() == "title: mine"


def test_an_older_recording_makes_room_for_a_new_one(tmp_path: Path) -> None:
    path = tmp_path / "run"
    keep(path, a_run())
    keep(path, run(3))
    assert len(read_recording(path).trace) == 3


def test_a_pipe_or_a_device_is_not_written_to(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/null")):
        with pytest.raises(BadInput, match="is not a plain file"):
            Recorder(path, head())


def test_a_place_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="nowhere"):
        Recorder(tmp_path / "nowhere" / "run", head())
    with pytest.raises(BadInput, match="nothing"):
        read_recording(tmp_path / "nothing")


def test_a_disk_that_is_full_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = []

    def full(path: Path) -> IO[bytes]:
        opened.append(Path("/dev/full").open("wb"))  # noqa: SIM115
        return opened[-1]

    monkeypatch.setattr("benchsim.record.writer._new_file", full)
    with pytest.raises(BadInput, match="space"):
        keep(tmp_path / "run", a_run())
    assert opened[0].closed


@pytest.mark.parametrize("octets", [b"", b"title: x\n", MAGIC[:5], b"PK\x03\x04" * 50])
def test_a_file_that_is_no_recording_is_refused(tmp_path: Path, octets: bytes) -> None:
    with pytest.raises(BadInput, match="is not a recording"):
        cut_off(tmp_path / "other", octets)


def test_the_head_says_that_it_is_simulated_and_names_no_time_of_day(tmp_path: Path) -> None:
    metadata = head().metadata()
    assert metadata["notice"].startswith("SIMULATED")
    assert not [key for key in metadata if "date" in key or "time" in key]
    json.dumps(metadata)
    assert BLOCK_US == 1_000_000
