"""Frames found in what was captured: in a stream or end to end, anything between, in hexadecimal or not."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.ground.library import shipped
from benchsim.link.capture import DATAGRAMS, STREAM, Found, frames_in, frames_in_lines
from benchsim.link.explain import NO_FRAME, Explained
from benchsim.link.framing import Deframer, to_stream
from benchsim.link.hextext import is_text, octets_of_lines
from tests.link.samples import sealed

VECTORS = json.loads((shipped("protocols") / "nodelink" / "vectors.json").read_text("utf-8"))
TOLD = [f for group in ("pairing", "refuse", "flow", "resume") for f in VECTORS[group]]
FRAMES = [bytes.fromhex(f["frame"]) for f in TOLD]
STREAMED = b"".join(bytes.fromhex(f["stream"]) for f in TOLD)
BARE = b"".join(FRAMES)
A, B = FRAMES[5], FRAMES[6]

SOME = st.lists(sealed().map(lambda drawn: drawn[2]), min_size=1, max_size=4)
NOISE = st.one_of(
    st.binary(max_size=80),
    st.binary(min_size=1, max_size=40).map(lambda b: b.replace(b"\0", b"\1")),
    st.sampled_from([b"", b"\0", b"\xff" * 1500, A[:20], to_stream(A)[:30]]),
)


def octets_of(frame: Explained) -> bytes:
    return b"".join(f.octets for f in frame.fields)


def good(found: Found) -> list[bytes]:
    return [octets_of(f) for f in found.frames if f.valid]


def whys(found: Found) -> list[str]:
    return [f.why for f in found.frames if not f.valid]


def test_all_vectors_in_one_stream_are_found() -> None:
    found = frames_in(STREAMED)
    assert (found.framing, good(found), whys(found)) == (STREAM, FRAMES, [])
    assert [f.kind for f in found.frames] == [v["name"] for v in TOLD]


def test_all_vectors_end_to_end_are_found() -> None:
    found = frames_in(BARE)
    assert (found.framing, good(found), whys(found)) == (DATAGRAMS, FRAMES, [])
    assert [f.offset for f in found.frames][1:] == [sum(map(len, FRAMES[:n])) for n in range(1, len(FRAMES))]


@given(SOME, st.data())
@settings(max_examples=150)
def test_in_a_stream_with_noise_between_every_good_frame_is_found(
    frames: list[bytes], draw: st.DataObject
) -> None:
    noise = [draw.draw(NOISE) for _ in range(len(frames) + 1)]
    stream = noise[0] + b"".join(to_stream(f) + n for f, n in zip(frames, noise[1:], strict=True))
    found = frames_in(stream)
    assert found.framing == STREAM
    left = iter(good(found))
    assert all(frame in left for frame in frames)


@given(SOME, st.data())
def test_what_a_receiver_takes_is_good_and_what_it_lets_go_is_told(
    frames: list[bytes], draw: st.DataObject
) -> None:
    parts = [draw.draw(NOISE) + to_stream(f)[: draw.draw(st.sampled_from([-1, None]))] for f in frames]
    stream = b"".join(parts) + b"\0"
    taken = [f for f in Deframer().feed(stream) if f in frames]
    found = frames_in(stream)
    left = iter(good(found))
    assert all(frame in left for frame in taken)
    if len(taken) < len(frames):
        assert whys(found)


@given(SOME, st.data())
@settings(max_examples=100)
def test_in_datagrams_with_noise_between_every_good_frame_is_found(
    frames: list[bytes], draw: st.DataObject
) -> None:
    noise = [
        draw.draw(NOISE.filter(lambda n: not any(f in n for f in FRAMES))) for _ in range(len(frames) + 1)
    ]
    laid = noise[0] + b"".join(f + n for f, n in zip(frames, noise[1:], strict=True))
    left = iter(good(frames_in(laid)))
    assert all(frame in left for frame in frames)


@given(st.booleans(), st.data())
@settings(max_examples=150)
def test_damage_anywhere_costs_the_frames_it_hits_alone(streamed: bool, draw: st.DataObject) -> None:
    parts = [to_stream(f) if streamed else f for f in FRAMES]
    capture = b"".join(parts)
    at = draw.draw(st.integers(0, len(capture) - 1))
    end = at + draw.draw(st.integers(0, 6))
    found = frames_in(capture[:at] + draw.draw(st.binary(max_size=6)) + capture[end:])
    begins = [sum(map(len, parts[:n])) for n in range(len(parts))]
    spared = [
        frame
        for frame, part, begin in zip(FRAMES, parts, begins, strict=True)
        if begin + len(part) - streamed <= at or begin >= end
    ]
    left = iter(good(found))
    assert all(frame in left for frame in spared)
    assert len(FRAMES) - len(spared) <= 2
    json.dumps([e.document() for e in found.frames])


@given(st.binary(max_size=3000))
def test_any_octets_at_all_are_told(octets: bytes) -> None:
    found = frames_in(octets, 5)
    assert all(5 <= e.offset <= 5 + len(octets) for e in found.frames)
    assert [e.offset for e in found.frames] == sorted(e.offset for e in found.frames)


def test_a_lost_zero_between_two_frames_is_told() -> None:
    found = frames_in(to_stream(A)[:-1] + to_stream(B))
    assert good(found) == [A, B]
    assert whys(found) == [f"no 0x00 before {len(A) + 1}: a receiver lets both frames go"]


def test_octets_before_a_frame_in_one_run_are_told() -> None:
    found = frames_in(b"\x05\x06" + to_stream(A))
    assert good(found) == [A]
    assert [(e.offset, e.kind) for e in found.frames if not e.valid] == [(0, NO_FRAME)]
    assert "a receiver lets the whole run go" in whys(found)[0]


def test_a_broken_cobs_run_is_told_where_it_breaks() -> None:
    broken = to_stream(A)[:-6] + b"\0"
    found = frames_in(broken + to_stream(B))
    assert good(found) == [B]
    # By hand from the vector: the code of the last block, 0x0d, stands at 22; 30 octets are left of 36.
    assert whys(found)[0] == "at 22: COBS broken, 0x0d announces 12 octets, 7 come before the 0x00"
    assert found.frames[0].kind == "beat"
    assert "come before the capture ends" in whys(frames_in(to_stream(B) + broken[:-1]))[0]


def test_a_run_longer_than_any_frame_is_told_in_one_piece() -> None:
    found = frames_in(b"\x07" * 5000 + b"\0" + to_stream(B))
    assert good(found) == [B]
    assert whys(found) == ["5000 octets without a 0x00; the longest frame takes 1334"]


def test_a_damaged_datagram_among_others_ends_where_its_kind_says() -> None:
    wrong = A[:15] + b"\x99" + A[16:]
    found = frames_in(wrong + wrong + B)
    assert [(e.offset, e.kind, e.valid) for e in found.frames] == [
        (0, "beat", False), (len(A), "beat", False), (2 * len(A), "echo", True),
    ]  # fmt: skip


@pytest.mark.parametrize("frame", FRAMES)
def test_alone_and_damaged_a_frame_is_still_read_as_what_it_is(frame: bytes) -> None:
    wrong = frame[:20] + bytes([frame[20] ^ 0xFF]) + frame[21:]
    assert frames_in(wrong).framing == DATAGRAMS
    assert frames_in(to_stream(wrong)).framing == STREAM
    assert frames_in(frame[:-1]).framing == DATAGRAMS
    assert frames_in(to_stream(frame)[:-3]).framing == STREAM


def test_zeros_alone_are_no_frames() -> None:
    assert frames_in(bytes(30)).frames == ()


# -- hexadecimal text ----------------------------------------------------------------------------------


def dump(octets: bytes, head: str, between: str, group: int, bars: bool) -> str:
    """A dump as the common tools print it (common practice, no source)."""
    lines = []
    for at in range(0, len(octets), 16):
        row = octets[at : at + 16]
        parts = [row[n : n + group] for n in range(0, len(row), group)]
        digits = between.join(part.hex(" ") if bars else part.hex() for part in parts)
        shown = "".join(chr(o) if 32 <= o < 127 else "." for o in row)
        lines.append(f"{at:08x}{head}{digits}  " + (f"|{shown}|" if bars else shown))
    return "\n".join([*lines, f"{len(octets):08x}"] if bars else lines) + "\n"


@pytest.mark.parametrize(
    "octets", [STREAMED, BARE, A, to_stream(A)], ids=["stream", "bare", "one", "one streamed"]
)
@pytest.mark.parametrize(
    "written",
    [
        lambda o: o.hex(),
        lambda o: o.hex().upper() + "\r\n",
        lambda o: o.hex(" "),
        lambda o: o.hex(":"),
        lambda o: ", ".join(f"0x{octet:02x}" for octet in o),
        lambda o: "\n".join(o[n : n + 16].hex(" ", 2) for n in range(0, len(o), 16)),
        lambda o: dump(o, ": ", " ", 2, bars=False),
        lambda o: dump(o, "  ", "  ", 8, bars=True),
    ],
)
def test_hexadecimal_text_of_any_form_is_read_as_its_octets(octets: bytes, written: Any) -> None:
    text = written(octets)
    assert is_text(text.encode())
    assert b"".join(octets_of_lines(text)) == octets
    assert good(frames_in_lines(octets_of_lines(text))) == good(frames_in(octets))


@pytest.mark.parametrize("key", ["frame", "stream"])
def test_a_frame_a_line_is_read_line_by_line_even_when_one_is_cut(key: str) -> None:
    lines = [bytes.fromhex(f[key]) for f in TOLD]
    lines[3] = lines[3][:-9]
    found = frames_in_lines(lines)
    assert good(found) == FRAMES[:3] + FRAMES[4:]
    assert [e.offset for e in found.frames if not e.valid] == [sum(map(len, lines[:3]))]


def test_bad_vectors_one_a_line_are_told_one_by_one() -> None:
    lines = octets_of_lines("\n".join(b["frame"] for b in VECTORS["bad"]))
    assert [e.valid for e in frames_in_lines(lines).frames] == [
        b["why"].startswith("tag:") for b in VECTORS["bad"] if b["frame"]
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("01 02\n01 zz", "line 2, column 4: 'z' is no hexadecimal digit"),
        ("01 02\n\n01 2", "line 3: 3 hexadecimal digits; an octet is two"),
        ("hello", "line 1, column 1: 'h'"),
        ("00000000: 0102 030", "line 1: 15 hexadecimal digits"),
    ],
)
def test_text_that_is_no_hexadecimal_is_bad_input_with_its_place(text: str, said: str) -> None:
    with pytest.raises(BadInput, match="^" + said.replace("?", r"\?")):
        octets_of_lines(text)


def test_no_capture_is_taken_for_text() -> None:
    assert not any(is_text(octets) for octets in (b"", STREAMED, BARE, *FRAMES))
