"""Every frame of the node link, against the construct of its declaration."""

from __future__ import annotations

from typing import Any

import pytest
from construct import ConstructError
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.link import codec
from benchsim.link.codec import Bad, Frame, layout_of
from benchsim.link.definition import frame_construct
from benchsim.link.frames import FROM_NODE, Again, Beat, Header, Kind, Seek
from benchsim.link.limits import LONGEST_FRAME
from tests.link.samples import sealed

KINDS = list(Kind)


def _by_construct(kind: Kind, frame: bytes) -> Any:
    """The frame's parts as the construct reads them, None when it refuses."""
    try:
        return frame_construct(kind).parse(frame).sealed.value
    except ConstructError:
        return None


def _same(parsed: Any, header: Header, message: Any) -> None:
    for name in Header.__slots__:
        assert parsed.header[name] == getattr(header, name)
    for field in layout_of(type(message)).fields:
        found, said = parsed.payload[field.name], getattr(message, field.name)
        if field.wire.code == "ranges":
            assert tuple(tuple(r) for r in found) == said
        elif field.wire.code == "samples":
            assert b"".join(v.to_bytes(4, "little", signed=True) for row in found for v in row) == said
        else:
            assert found == said


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name.lower())
@given(draw=st.data())
@settings(max_examples=20, deadline=None)
def test_codec_and_construct_read_the_same(kind: Kind, draw: st.DataObject) -> None:
    header, message, frame = draw.draw(sealed(kind))
    heard = codec.read(frame)
    assert isinstance(heard, Frame)
    assert (heard.header, heard.message) == (header, message)
    assert heard.body + heard.tag == frame[:-4]
    _same(_by_construct(kind, frame), header, message)


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name.lower())
@given(draw=st.data())
@settings(max_examples=30, deadline=None)
def test_codec_and_construct_refuse_the_same(kind: Kind, draw: st.DataObject) -> None:
    """Any octets changed, taken or added, then a right CRC: both read it alike, or both refuse it."""
    _, _, frame = draw.draw(sealed(kind))
    content = bytearray(frame[:-4])
    where = draw.draw(st.integers(0, min(len(content) - 1, 60)))
    content[where] = draw.draw(st.integers(0, 255))
    changed = codec.seal(bytes(content)[: len(content) - draw.draw(st.sampled_from([0, 0, 1, 8]))])
    heard = codec.read(changed)
    if isinstance(heard, Frame):
        _same(_by_construct(Kind(heard.header.kind), changed), heard.header, heard.message)
    else:
        assert all(_by_construct(k, changed) is None for k in KINDS), heard.why


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name.lower())
@given(draw=st.data())
@settings(max_examples=3, deadline=None)
def test_a_frame_cut_anywhere_is_refused(kind: Kind, draw: st.DataObject) -> None:
    _, _, frame = draw.draw(sealed(kind))
    for cut in range(len(frame)):
        assert isinstance(codec.read(frame[:cut]), Bad)


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.name.lower())
@given(draw=st.data())
@settings(max_examples=2, deadline=None)
def test_a_frame_with_any_one_bit_inverted_is_refused(kind: Kind, draw: st.DataObject) -> None:
    _, _, frame = draw.draw(sealed(kind))
    for bit in range(8 * len(frame)):
        wrong = bytearray(frame)
        wrong[bit >> 3] ^= 1 << (bit & 7)
        assert isinstance(codec.read(bytes(wrong)), Bad)


@given(st.binary(max_size=LONGEST_FRAME + 40))
def test_any_octets_at_all_are_read_or_refused(octets: bytes) -> None:
    assert isinstance(codec.read(octets), Frame | Bad)
    assert isinstance(codec.read(codec.seal(octets)), Frame | Bad)


def _bad(header: Header, message: Any, tag: bytes = b"") -> str:
    heard = codec.read(codec.seal(codec.body_of(header, message), tag))
    assert isinstance(heard, Bad)
    return heard.why


SEEK = Seek(1, 1, 1, 8, 4, 1_000_000, 200_000, bytes(32))
HEADER = Header(1, Kind.SEEK, 7, 1, 0, 5, 0)


def test_a_refusal_names_the_field_what_was_found_and_what_is_right() -> None:
    from dataclasses import replace

    assert _bad(replace(HEADER, address=17), SEEK) == "address is 17; 1 to 16 is right"
    few = replace(SEEK, samples_per_frame=0)
    assert _bad(HEADER, few) == "samples_per_frame is 0; 1 to 80 is right"


def test_a_refusal_names_an_unknown_kind_a_wrong_way_and_a_wrong_length() -> None:
    from dataclasses import replace

    assert _bad(replace(HEADER, kind=0x7F), SEEK) == "unknown kind 0x7f"
    assert _bad(replace(HEADER, flags=FROM_NODE), SEEK) == "seek goes the other way"
    assert "payload of" in _bad(HEADER, Beat(1))
    again = replace(HEADER, kind=Kind.AGAIN)
    assert _bad(again, Again(((5, 0),)), bytes(8)) == "an empty range"
