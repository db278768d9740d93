"""Streams to frames: in any pieces, with any dirt between, never more kept than one frame."""

from __future__ import annotations

from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from benchsim.link.framing import LONGEST_ENCODED, Deframer, to_stream
from benchsim.link.limits import LONGEST_FRAME

FRAMES = st.lists(st.binary(min_size=1, max_size=300), max_size=8)


@given(FRAMES, st.lists(st.integers(1, 40), min_size=1, max_size=60))
def test_frames_come_out_whole_however_the_stream_is_cut(frames: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(map(to_stream, frames))
    reader, found, at = Deframer(), [], 0
    for cut in cuts:
        found += reader.feed(stream[at : at + cut])
        at += cut
    found += reader.feed(stream[at:])
    assert found == frames
    assert reader.dropped == 0


@given(FRAMES, st.binary(max_size=4000))
def test_after_any_dirt_the_next_zero_brings_both_ends_together(frames: list[bytes], dirt: bytes) -> None:
    reader = Deframer()
    reader.feed(dirt)
    reader.feed(b"\0")
    assert reader.feed(b"".join(map(to_stream, frames))) == frames


def test_the_longest_frame_passes_and_one_that_cannot_be_is_let_go() -> None:
    reader = Deframer()
    longest = bytes([7]) * LONGEST_FRAME
    assert len(cobs.encode(longest)) <= LONGEST_ENCODED
    assert reader.feed(to_stream(longest)) == [longest]
    assert reader.feed(to_stream(bytes([7]) * (LONGEST_FRAME + 300)) + to_stream(b"next")) == [b"next"]
    assert reader.dropped == 1


def test_a_million_octets_without_an_end_are_not_kept() -> None:
    reader = Deframer()
    for _ in range(100):
        assert reader.feed(b"\x01" * 10_000) == []
        assert len(reader._kept) <= LONGEST_ENCODED
    assert reader.feed(b"\0" + to_stream(b"whole")) == [b"whole"]


def test_zeros_alone_are_nothing() -> None:
    reader = Deframer()
    assert reader.feed(bytes(50)) == []
    assert reader.dropped == 0
