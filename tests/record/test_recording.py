"""A recording comes back as it was, gives the same bytes each time, and opens however it was damaged."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tracemalloc
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mcap.writer import CompressionType, Writer

from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event, LinkState
from benchsim.record.container import BLOCK_US, LOST, Head, encode_columns
from benchsim.record.reader import LARGEST_CHUNK, Recording, read_recording
from benchsim.record.trace import Trace
from benchsim.record.writer import MAGIC, Recorder
from tests.record.runs import between, contents, head, run, same, trace

END_US = 5_000_000


def a_run() -> Trace:
    """Five seconds with something of everything."""
    lost = between(2.0, 3.5)
    made = run(
        50,
        gross_d=lambda t: t // 500_000,
        valid=lambda t: not lost(t),
        reason=lambda t: ("node 2: lost" if t < 3_000_000 else "a gap: ½") if lost(t) else "",
        motion=between(1.0, 1.4),
    )
    made.happened(Event(0, "load", "block", "place block: 18400 kg at 9 m, 1.5 m"))
    made.happened(Event(1_200_000, "command", "record", "record: in motion", done=False))
    made.happened(Event(END_US, "answer", "scp0499", "'", octets=bytes(range(256))))
    made.link(0, LinkState(2, "seek"))
    made.link(2_000_000, LinkState(2, "lost", "silent for 1 s", "serial 0A", 2_000_000))
    return made


def keep(path: Path, made: Trace, takes: list[int] = [], header: Head | None = None) -> bytes:  # noqa: B006
    with Recorder(path, header or head(made.cells)) as recorder:
        for t_us in takes:
            recorder.take(made, t_us)
        recorder.finish(made, END_US)
    return path.read_bytes()


def cut_off(path: Path, octets: bytes) -> Recording:
    path.write_bytes(octets)
    return read_recording(path)


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


@given(st.lists(st.integers(0, END_US), max_size=12).map(sorted))
def test_the_bytes_do_not_depend_on_how_often_it_was_written_down(
    tmp_path_factory: pytest.TempPathFactory, takes: list[int]
) -> None:
    folder = tmp_path_factory.mktemp("takes")
    assert keep(folder / "a", a_run(), takes) == keep(folder / "b", a_run())


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
        "from tests.record.test_recording import a_run, keep\n"
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
        "from tests.record.test_recording import Recorder, a_run, head\n"
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


def test_a_recording_cut_off_anywhere_opens_with_what_was_whole(tmp_path: Path) -> None:
    made = run(22, gross_d=lambda t: t // 500_000, cells=1)
    octets = keep(tmp_path / "run", made, header=head(cells=1))
    whole, refused, rows_seen = contents(made), list[int](), set[int]()
    tail = octets.index(b"benchsim.end")
    for cut in (*range(tail), *range(tail, len(octets), 40)):
        try:
            back = cut_off(tmp_path / "cut", octets[:cut])
        except BadInput:
            refused.append(cut)
            continue
        rows = contents(back.trace)
        rows_seen.add(len(rows))
        assert rows == whole[: len(rows)]
        assert back.complete == (back.trace.ended_us == END_US)
    assert rows_seen == {0, 9, 19, 22}
    assert refused == list(range(len(refused)))
    assert len(refused) < octets.index(b"title: A test\n")


def chunks_of(octets: bytes) -> list[tuple[int, int]]:
    """Where the packed data of each chunk stands, found by the magic number of zstd (RFC 8878)."""
    starts = [i for i in range(len(octets)) if octets[i : i + 4] == b"\x28\xb5\x2f\xfd"]
    return [(at, int.from_bytes(octets[at - 8 : at], "little")) for at in starts]


def test_a_second_damaged_anywhere_is_told_and_the_others_still_count(tmp_path: Path) -> None:
    made = a_run()
    octets = keep(tmp_path / "run", made)
    start, length = chunks_of(octets)[2]
    others = [c for c in contents(made) if c[0] and not 2_000_000 <= c[0].t_us < 3_000_000]
    for place in range(start, start + length, 3):
        damaged = bytearray(octets)
        damaged[place] ^= 0x41
        back = cut_off(tmp_path / "damaged", bytes(damaged))
        assert "the second from 2 s is damaged" in back.missing
        assert "10 of 50 rows" in back.missing
        told = contents(back.trace)
        assert len(told) == 40
        assert [replace(c[0], reason="") for c in told if c[0]] == [
            replace(c[0], reason="") for c in others if c[0]
        ]
        at_3_s = back.trace.indication_at(3_200_000)
        assert at_3_s is not None
        assert at_3_s.reason == "a gap: ½"


def odd_file(path: Path, *blocks: bytes, topic: str = "indication", **options: Any) -> Recording:
    """A file that another program might have made, a block a second."""
    with path.open("wb") as file:
        writer = Writer(file, **({"chunk_size": 1} | options))
        writer.start()
        writer.add_metadata("benchsim", head().metadata())
        channel = writer.register_channel(topic, "x-benchsim-columns", 0)
        for number, block in enumerate(blocks):
            writer.add_message(channel, number * 10**9, block, 0)
        writer.finish()  # type: ignore[no-untyped-call]
    return read_recording(path)


COLUMNS = run(20).columns()
BLOCK = encode_columns(COLUMNS, 0, 10)
FLAGS_AT, REASON_AT, T_AT = 4 + 10 * 6 * 8, 4 + 10 * (6 * 8 + 2), 4


def test_seconds_in_the_wrong_order_are_told(tmp_path: Path) -> None:
    back = odd_file(tmp_path / "odd", encode_columns(COLUMNS, 10, 20), BLOCK)
    assert "the second from 1 s is damaged" in back.missing
    assert back.trace.columns().t_us.tolist() == COLUMNS.t_us[10:].tolist()


@pytest.mark.parametrize(
    "block",
    [
        BLOCK[:-1],
        BLOCK + b"x",
        b"",
        b"\xff\xff\xff\xff" + BLOCK[4:],
        BLOCK[:FLAGS_AT] + b"\x00\x04" + BLOCK[FLAGS_AT + 2 :],
        BLOCK[:REASON_AT] + b"\xff\xff\xff\xff" + BLOCK[REASON_AT + 4 :],
        BLOCK[:T_AT] + BLOCK[T_AT + 8 : T_AT + 16] + BLOCK[T_AT + 8 :],
    ],
    ids=["short", "long", "empty", "rows", "flags", "reason", "times"],
)
@pytest.mark.parametrize("chunked", [True, False])
def test_a_block_that_cannot_be_is_left_out(tmp_path: Path, block: bytes, chunked: bool) -> None:
    back = odd_file(tmp_path / "odd", block, BLOCK, use_chunking=chunked)
    assert "the second from 0 s is damaged" in back.missing
    assert len(back.trace) == 10


@pytest.mark.parametrize("topic", ["reasons", "events", "links"])
@pytest.mark.parametrize(
    "data",
    [b"", b"[]", b"{", b'{"events": 5, "links": 5, "first": 0, "reasons": 5}', b"[" * 100_000,
     b'{"events": [{}], "links": [{}], "first": 99999999, "reasons": []}', b"\xff",
     b'{"events": [5], "links": [5], "first": "x", "reasons": []}'],
)  # fmt: skip
def test_a_message_that_is_not_what_it_should_be_is_left_out(tmp_path: Path, topic: str, data: bytes) -> None:
    back = odd_file(tmp_path / "odd", data, topic=topic)
    assert "the second from 0 s is damaged" in back.missing
    assert (back.trace.events, back.trace.link_states) == ([], [])


def test_a_channel_that_is_not_known_is_passed_over(tmp_path: Path) -> None:
    back = odd_file(tmp_path / "odd", b"from a later version", topic="frames")
    assert not [line for line in back.missing if "damaged" in line]


def test_a_compression_that_is_never_written_is_not_unpacked(tmp_path: Path) -> None:
    back = odd_file(tmp_path / "odd", BLOCK, compression=CompressionType.LZ4)
    assert "the second from 0 s is damaged" in back.missing


def test_a_tail_that_cannot_be_read_counts_for_nothing(tmp_path: Path) -> None:
    octets = keep(tmp_path / "run", run(3))
    back = cut_off(tmp_path / "odd", octets.replace(str(END_US).encode(), b"x" * 7))
    assert back.trace.ended_us == 0
    assert len(back.trace) == 3


def test_a_reason_that_a_damaged_second_took_along_is_told_as_lost(tmp_path: Path) -> None:
    made = run(40, reason=lambda t: "gone" if t >= 1_000_000 else "")
    octets = bytearray(keep(tmp_path / "run", made))
    octets[chunks_of(bytes(octets))[1][0] + 8] ^= 0x40
    later = cut_off(tmp_path / "damaged", bytes(octets)).trace.indication_at(3_000_000)
    assert later is not None
    assert later.reason == LOST


@given(st.data())
def test_no_damage_brings_the_reader_down(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("noise")
    octets = bytearray(keep(folder / "run", a_run()))
    for _ in range(data.draw(st.integers(1, 4))):
        octets[data.draw(st.integers(8, len(octets) - 1))] = data.draw(st.integers(0, 255))
    try:
        back = cut_off(folder / "damaged", bytes(octets))
    except BadInput:
        return
    assert len(back.trace) <= 50
    back.trace.columns()


def test_a_chunk_that_would_fill_the_memory_is_left_out(tmp_path: Path) -> None:
    """A few octets can say that they unpack to gigabytes."""
    odd_file(tmp_path / "bomb", bytes(LARGEST_CHUNK))
    assert (tmp_path / "bomb").stat().st_size < LARGEST_CHUNK / 1000
    tracemalloc.start()
    back = read_recording(tmp_path / "bomb")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < LARGEST_CHUNK / 10
    assert "the second from 0 s is damaged" in back.missing


def test_a_text_that_was_changed_in_the_file_is_told(tmp_path: Path) -> None:
    octets = keep(tmp_path / "run", a_run())
    assert octets.count(b"title: A test\n") == 1
    back = cut_off(tmp_path / "changed", octets.replace(b"title: A test\n", b"title: B test\n"))
    assert [m for m in back.missing if "deck.yaml" in m and "SHA-256" in m]


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


def test_another_s_mcap_file_is_refused(tmp_path: Path) -> None:
    with (tmp_path / "other").open("wb") as file:
        writer = Writer(file)
        writer.start()
        writer.add_metadata("theirs", {"a": "b"})
        writer.finish()  # type: ignore[no-untyped-call]
    with pytest.raises(BadInput, match="no head of benchsim"):
        read_recording(tmp_path / "other")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": "2"}, "format 2; this benchsim reads format 1"),
        ({"cells": "17"}, "17 cells"),
        ({"cells": "many"}, "cannot be read"),
        ({"interval": "NaN"}, "NaN"),
        ({"interval": "0"}, "d = 0"),
        ({"unit": "stone"}, "stone"),
    ],
)
def test_a_head_that_cannot_be_is_refused(tmp_path: Path, change: dict[str, str], words: str) -> None:
    with (tmp_path / "odd").open("wb") as file:
        writer = Writer(file)
        writer.start()
        writer.add_metadata("benchsim", head().metadata() | change)
        writer.finish()  # type: ignore[no-untyped-call]
    with pytest.raises(BadInput) as caught:
        read_recording(tmp_path / "odd")
    assert words in str(caught.value)


def test_the_head_says_that_it_is_simulated_and_names_no_time_of_day(tmp_path: Path) -> None:
    metadata = head().metadata()
    assert metadata["notice"].startswith("SIMULATED")
    assert not [key for key in metadata if "date" in key or "time" in key]
    json.dumps(metadata)
    assert BLOCK_US == 1_000_000
