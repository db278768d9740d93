"""Frames as a column block: they come back as they were, and no block brings the reader down."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.record.frames import Carried, decode_frames, encode_frames

WAYS = 6
frames = st.one_of(st.binary(max_size=6), st.binary(min_size=176, max_size=176))


@st.composite
def blocks(draw: st.DrawFn) -> list[Carried]:
    """A block with frames of a few lengths, lost, doubled, damaged and replaced ones."""
    times = sorted(draw(st.lists(st.integers(0, 10**13), max_size=12)))
    rows: list[Carried] = []
    for t_us in times:
        frame = draw(frames)
        arrivals = st.tuples(st.integers(t_us, t_us + 10**7), st.one_of(st.just(frame), frames))
        rows.append((draw(st.integers(0, WAYS - 1)), t_us, frame, draw(st.lists(arrivals, max_size=3))))
    return rows


@given(blocks())
def test_frames_come_back_as_they_were(rows: list[Carried]) -> None:
    assert decode_frames(encode_frames(rows), WAYS) == rows


ROWS: list[Carried] = [
    (0, 1_000_000, b"\1\2\3\4", [(1_004_000, b"\1\2\3\4")]),
    (3, 1_000_500, b"\1\2\3\5", []),
    (0, 1_100_000, b"\1\2\3\6", [(1_104_000, b"\1\2\7\6"), (1_105_000, b"old")]),
]
BLOCK = encode_frames(ROWS)


def test_a_block_can_be_read_by_the_page_alone() -> None:
    """Differences and planes undone by hand, octet by octet, as protocols/recording says."""
    count, arrivals = struct.unpack_from("<II", BLOCK)
    assert (count, arrivals) == (3, 3)

    def numbers(at: int, rows: int, columns: int) -> list[list[int]]:
        table, last = [], [0] * columns
        for row in range(rows):
            for column in range(columns):
                step = sum(BLOCK[at + (8 * column + o) * rows + row] << 8 * o for o in range(8))
                last[column] = (last[column] + step) % 2**64
            table.append([n - 2**64 if n >= 2**63 else n for n in last])
        return table

    assert numbers(8, 3, 4) == [[0, 1_000_000, 4, 1], [3, 1_000_500, 4, 0], [0, 1_100_000, 4, 2]]
    assert numbers(8 + 96, 3, 2) == [[4000, -1], [4000, 4], [5000, 3]]
    at, last = 8 + 96 + 48, bytes(4)
    for row in range(3):
        last = bytes((last[o] + BLOCK[at + 3 * o + row]) % 256 for o in range(4))
        assert last == ROWS[row][2]
    assert BLOCK[at + 12 :] == b"old" + b"\1\2\7\6"


def test_what_arrives_before_it_set_out_arrives_at_once() -> None:
    """As the bench's queue has it: time never runs backwards."""
    ((_, _, _, arrivals),) = decode_frames(encode_frames([(0, 5_000, b"x", [(4_000, b"x")])]), 1)
    assert arrivals == [(5_000, b"x")]


@pytest.mark.parametrize("cut", range(len(BLOCK)))
def test_a_block_cut_anywhere_is_refused(cut: int) -> None:
    with pytest.raises(ValueError, match=r"."):
        decode_frames(BLOCK[:cut], WAYS)


def test_a_block_with_more_than_its_figures_need_is_refused() -> None:
    with pytest.raises(ValueError, match="need"):
        decode_frames(BLOCK + b"x", WAYS)


def test_a_way_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be"):
        decode_frames(BLOCK, 3)


@given(st.data())
def test_no_damage_gives_more_than_the_block_holds(data: st.DataObject) -> None:
    damaged = bytearray(BLOCK)
    for _ in range(data.draw(st.integers(1, 4))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    try:
        rows = decode_frames(bytes(damaged), WAYS)
    except ValueError:
        return
    assert sum(len(frame) for _, _, frame, _ in rows) <= len(BLOCK)
    assert all(at_us >= t_us >= 0 for _, t_us, _, arrivals in rows for at_us, _ in arrivals)
