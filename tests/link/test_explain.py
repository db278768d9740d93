"""One frame told field by field: against the vectors and the definition file, and whatever the octets are."""

from __future__ import annotations

import json
import struct
import tomllib
from typing import Any

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.library import shipped
from benchsim.link import codec
from benchsim.link.capture import unstuffed
from benchsim.link.explain import NO_FRAME, Explained, explain
from benchsim.link.frames import Kind
from benchsim.link.limits import LONGEST_FRAME
from tests.link.samples import sealed

FOLDER = shipped("protocols") / "nodelink"
VECTORS = json.loads((FOLDER / "vectors.json").read_text("utf-8"))
DEFINITION = tomllib.loads((FOLDER / "definition.toml").read_text("utf-8"))
GOOD = [f for group in ("pairing", "refuse", "flow", "resume") for f in VECTORS[group]]
OCTETS = {"u8": 1, "u16": 2, "u32": 4, "u64": 8}


def told(frame: bytes, base: int = 0) -> Explained:
    return explain(frame, range(base, base + len(frame)), base)


def matrix(hexadecimal: str, channels: int) -> list[list[int]]:
    values = [v for (v,) in struct.iter_unpack("<i", bytes.fromhex(hexadecimal))]
    return [values[n : n + channels] for n in range(0, len(values), channels)]


def said_by(vector: dict[str, Any]) -> list[tuple[str, Any]]:
    """Names and values of header and payload as the vectors have them; lists as decode prints them."""
    fields = dict(vector["fields"])
    if "samples" in fields:
        fields["samples"] = matrix(fields["samples"], fields["channels"])
        fields["status"] = list(bytes.fromhex(fields["status"]))
    return [*vector["header"].items(), *fields.items()]


@pytest.mark.parametrize("vector", GOOD, ids=lambda v: v["name"])
def test_every_vector_is_told_as_it_says(vector: dict[str, Any]) -> None:
    found = told(bytes.fromhex(vector["frame"]))
    assert (found.kind, found.valid, found.why, found.offset) == (vector["name"], True, "", 0)
    assert [(f.name, f.value) for f in found.fields if f.name not in ("tag", "crc")] == said_by(vector)
    assert [f.value for f in found.fields if f.name == "tag"] == [vector["tag"]] * bool(vector["tag"])
    assert (found.fields[-1].name, found.fields[-1].octets) == ("crc", bytes.fromhex(vector["frame"])[-4:])


@pytest.mark.parametrize("vector", GOOD, ids=lambda v: v["name"])
def test_fields_stand_where_the_definition_file_puts_them(vector: dict[str, Any]) -> None:
    message = next(m for m in DEFINITION["message"] if m["name"] == vector["name"])
    at, expected = 0, []
    for field in [*DEFINITION["header"], *message["fields"]]:
        expected.append((field["name"], 100 + at))
        if "each" in field or field["type"] == "ranges":
            at += {"status": vector["fields"].get("channels", 0)}.get(field["name"], 0)
        else:
            at += OCTETS.get(field["type"]) or field["octets"]
    found = told(bytes.fromhex(vector["frame"]), 100)
    assert [(f.name, f.places[0]) for f in found.fields][: len(expected)] == expected
    assert found.direction == ("node to host" if message["from"] == "node" else "host to node")


@pytest.mark.parametrize("vector", GOOD, ids=lambda v: v["name"])
def test_in_a_stream_each_octet_is_where_the_capture_has_it(vector: dict[str, Any]) -> None:
    stream = b"\1\2\0" + bytes.fromhex(vector["stream"])
    octets, places, broken = unstuffed(stream[3:-1], 3)
    assert (octets, broken) == (bytes.fromhex(vector["frame"]), None)
    for field in explain(octets, places, 3).fields:
        for octet, place in zip(field.octets, field.places, strict=True):
            assert stream[place] == octet or octet == 0


# What each bad vector is told as: the offset of the first octet that shows it, and a word of the reason.
WHERE = {
    "cut: the last octet is missing": (171, "a data like this has 176 octets, 175 are here"),
    "CRC: one bit of a sample is inverted": (172, "right but for one bit, 0x10 of the octet at 60"),
    "kind: 0x7f is none": (1, "unknown kind 0x7f"),
    "version: 0 is none": (0, "version is 0; 1 to 255 is right"),
    "address: 17 is none": (4, "address is 17; 1 to 16 is right"),
    "flags: a seek that says it comes from a node": (5, "seek goes the other way"),
    "length: an octet behind a seek": (14, "payload of 53 octets; 52 expected"),
    "length: rows says 9, 8 are there": (30, "does not fit 9 x 4 samples"),
    "range: a seek for 0 samples a frame": (24, "samples_per_frame is 0; 1 to 80 is right"),
    "range: channels is 0": (31, "channels is 0; 1 to 4 is right"),
    "short: no room for a tag": (19, "too short for its tag"),
    "empty": (None, "0 octets; a frame has 18 to 1328"),
}


@pytest.mark.parametrize("vector", VECTORS["bad"], ids=lambda v: v["why"])
def test_every_bad_vector_is_told_with_place_and_reason(vector: dict[str, Any]) -> None:
    found = told(bytes.fromhex(vector["frame"]))
    if vector["why"].startswith("tag:"):  # takes keys, which nobody has who only looks on
        assert found.valid
        assert "not checked" in next(f.meaning for f in found.fields if f.name == "tag")
        return
    place, reason = WHERE[vector["why"]]
    assert not found.valid
    assert reason in found.why
    assert found.why.startswith(f"at {place}: " if place is not None else reason)


def test_a_wrong_crc_is_told_beside_the_right_one() -> None:
    good = bytes.fromhex(GOOD[0]["frame"])
    bad = good[:-4] + bytes(4)
    right = int.from_bytes(good[-4:], "little")
    found = told(bad)
    assert f"at 66: CRC-32C is 0x00000000, 0x{right:08x} expected" in found.why
    assert found.fields[-1].meaning == f"0x00000000, 0x{right:08x} expected"


@given(sealed(), st.integers(0), st.integers(0, 1000))
def test_one_inverted_bit_is_named(drawn: tuple[Any, Any, bytes], where: int, base: int) -> None:
    bit = where % (8 * len(drawn[2]))
    wrong = bytearray(drawn[2])
    wrong[bit >> 3] ^= 1 << (bit & 7)
    said = f"right but for one bit, 0x{1 << (bit & 7):02x} of the octet at {base + (bit >> 3)}"
    assert told(bytes(wrong), base).why.endswith(said)


@pytest.mark.parametrize("kind", Kind, ids=lambda k: k.name.lower())
@given(draw=st.data())
@settings(max_examples=5)
def test_every_field_of_every_kind_means_something(kind: Kind, draw: st.DataObject) -> None:
    found = told(draw.draw(sealed(kind))[2])
    assert found.valid
    assert all(f.meaning for f in found.fields), [f.name for f in found.fields if not f.meaning]


def damaged(frame: bytes, draw: st.DataObject) -> bytes:
    """Some octets changed, some taken or added; with a right CRC now and then."""
    wrong = bytearray(frame)
    for _ in range(draw.draw(st.integers(0, 3))):
        wrong[draw.draw(st.integers(0, min(len(wrong) - 1, 60)))] = draw.draw(st.integers(0, 255))
    cut = bytes(wrong)[: draw.draw(st.integers(0, len(wrong)))] + draw.draw(st.binary(max_size=5))
    return codec.seal(cut) if draw.draw(st.booleans()) else cut


@given(sealed(), st.data())
@settings(max_examples=300)
def test_of_a_damaged_frame_every_octet_is_told_once_and_the_verdict_is_the_codec_s(
    drawn: tuple[Any, Any, bytes], draw: st.DataObject
) -> None:
    octets = damaged(drawn[2], draw)
    found = told(octets, 7)
    assert b"".join(f.octets for f in found.fields) == octets
    assert [p for f in found.fields for p in f.places] == list(range(7, 7 + len(octets)))
    assert found.valid == isinstance(codec.read(octets), codec.Frame)
    json.dumps(found.document())


@given(st.binary(max_size=LONGEST_FRAME + 40), st.booleans())
def test_any_octets_at_all_are_told(octets: bytes, mended: bool) -> None:
    octets = codec.seal(octets) if mended else octets
    found = told(octets)
    assert b"".join(f.octets for f in found.fields) == octets
    assert found.valid == isinstance(codec.read(octets), codec.Frame)


@pytest.mark.parametrize("vector", GOOD, ids=lambda v: v["name"])
def test_a_frame_cut_anywhere_is_told_as_far_as_it_goes(vector: dict[str, Any]) -> None:
    frame = bytes.fromhex(vector["frame"])
    whole = told(frame).fields
    for cut in range(len(frame)):
        found = told(frame[:cut])
        assert not found.valid
        assert found.kind == (vector["name"] if cut > 1 else NO_FRAME)
        cut_off = [f for f in whole if f.places[-1] >= cut or f.name in ("tag", "crc", "ranges")]
        intact = [(f.name, f.value, f.places[0]) for f in whole if f not in cut_off]
        assert [(f.name, f.value, f.places[0]) for f in found.fields][: len(intact)] == intact


@given(st.binary(max_size=700).map(lambda b: b.replace(b"\0", b"\1")))
def test_cobs_is_undone_as_the_library_does_and_as_far_as_it_goes(run: bytes) -> None:
    octets, places, broken = unstuffed(run, 50)
    assert len(octets) == len(places)
    assert all(octets[n] in (0, run[p - 50]) for n, p in enumerate(places))
    try:
        assert cobs.decode(run) == octets
    except cobs.DecodeError:
        assert broken is not None
        assert broken - 50 + run[broken - 50] > len(run)
    else:
        assert broken is None
