"""A recording opens however short or damaged it is; what is missing is told; a foreign file is refused."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mcap.writer import CompressionType, Writer

from benchsim.ground.errors import BadInput
from benchsim.record.container import LOST, encode_columns
from benchsim.record.reader import Recording, read_recording
from benchsim.record.walker import LARGEST_CHUNK
from tests.record.kept import END_US, a_run, cut_off, keep
from tests.record.runs import contents, head, run


def test_a_recording_cut_off_anywhere_opens_with_what_was_whole(tmp_path: Path) -> None:
    made = run(12, gross_d=lambda t: t // 500_000, cells=1)
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
    assert rows_seen == {0, 9, 12}
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
    back = odd_file(tmp_path / "odd", b"from a later version", topic="seals")
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
