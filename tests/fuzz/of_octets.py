"""Targets for what comes as bare octets: streams, captures, hexadecimal text, pcapng, marked damage."""

from __future__ import annotations

import json
import struct

from click.testing import CliRunner
from cobs import cobs

from benchsim.cli import decode, text
from benchsim.cli.decode import decode as decode_verb
from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput, BenchsimError
from benchsim.link import capture, codec, explain, framing, hextext, meanings
from benchsim.link.capture import DATAGRAMS, STREAM, frames_in, frames_in_lines
from benchsim.link.codec import Frame
from benchsim.link.explain import Explained, is_whole
from benchsim.link.framing import LONGEST_ENCODED, Deframer, to_stream
from benchsim.record import pcapng
from benchsim.serve import marked
from benchsim.serve.marked import Marked
from tests.fuzz.pieces import Pieces, Target, cuts

FRAMINGS = {STREAM, DATAGRAMS, f"{DATAGRAMS} and COBS streams"}


def unstuffed(run: bytes) -> bytes | None:
    """COBS undone by the rule of its paper (Cheshire and Baker, 1997); None for what is none."""
    out, at = bytearray(), 0
    while at < len(run):
        code = run[at]
        if at + code > len(run):
            return None
        out += run[at + 1 : at + code]
        at += code
        if code < 0xFF and at < len(run):
            out.append(0)
    return bytes(out)


def a_stream(octets: bytes) -> None:
    """However a stream is cut, the same frames come of it: those that the paper's rule gives."""
    pieces = Pieces(octets)
    size, stream = pieces.number() % 40 + 1, pieces.rest()
    whole, cut = Deframer(), Deframer()
    frames = whole.feed(stream)
    assert [f for part in cuts(stream, size) for f in cut.feed(part)] == frames
    assert cut.dropped == whole.dropped
    *runs, _ = stream.split(b"\0")
    fitting = [unstuffed(r) if len(r) <= LONGEST_ENCODED else None for r in runs if r]
    assert frames == [f for f in fitting if f is not None]
    assert whole.dropped == fitting.count(None)
    for frame in frames:
        if frame:
            assert Deframer().feed(b"\0" + to_stream(frame)) == [frame]


def told(frame: Explained, size: int) -> None:
    """What may be said of a frame found in so many octets: all of it is there, and JSON has it."""
    json.dumps(frame.document(), allow_nan=False)
    joined = b"".join(f.octets for f in frame.fields)
    assert len(joined) == frame.octets
    assert all(len(f.places) == len(f.octets) for f in frame.fields)
    assert all(0 <= place < size for f in frame.fields for place in f.places)
    if frame.valid:
        assert isinstance(codec.read(joined), Frame)


def found_in(octets: bytes) -> None:
    """Every frame that a receiver would take from a stream is found, and nothing is made up."""
    found = frames_in(octets)
    assert found.framing in FRAMINGS
    at = -1
    for frame in found.frames:
        told(frame, len(octets))
        assert frame.offset >= at
        at = frame.offset
    if found.framing == STREAM:
        shown = [b"".join(f.octets for f in frame.fields) for frame in found.frames]
        taken = [f for f in Deframer().feed(octets + b"\0") if is_whole(f)]
        assert [f for f in taken if f not in shown] == []
    assert sum(f.valid for f in found.frames) <= found.whole <= len(found.frames)


def laid_end_to_end(octets: bytes) -> None:
    """Sealed bodies, bare or in COBS, whole or cut, with anything between them, as a capture has them."""
    pieces, made = Pieces(octets), bytearray()
    while pieces:
        how, content = pieces.number(), pieces.some()
        sealed = codec.seal(content)
        if how & 8:
            sealed = sealed[: len(sealed) - how // 16]
        forms = (content, sealed, to_stream(sealed), cobs.encode(sealed), b"\0", to_stream(content))
        made += forms[how % 8 % len(forms)]
    found_in(bytes(made))


def one_frame(octets: bytes) -> None:
    """One frame in words, with and without a right CRC; it is valid exactly when the codec takes it."""
    for frame in (octets, codec.seal(octets)):
        said = explain.explain(frame, range(9, 9 + len(frame)), 9)
        told(said, 9 + len(frame))
        assert said.valid == isinstance(codec.read(frame), Frame)


def hex_text(octets: bytes) -> None:
    """Text to octets, or one line that says where it is none; plain digits come back as they were."""
    assert b"".join(hextext.octets_of_lines(octets.hex(" "))) == octets
    characters = octets.decode("utf-8", "replace")
    try:
        lines = hextext.octets_of_lines(characters)
    except BadInput as error:
        assert "\n" not in str(error)
        return
    assert all(lines)
    for frame in frames_in_lines(lines).frames:
        told(frame, sum(map(len, lines)))


def _capture(octets: bytes) -> None:
    try:
        read = pcapng.read(octets)
    except BadInput:
        assert not pcapng.is_pcapng(octets)
        return
    for packet in read.packets:
        assert octets[packet.offset : packet.offset + len(packet.data)] == packet.data
        if packet.t_us is not None:
            seconds(packet.t_us)
        for frame in frames_in(packet.data, packet.offset).frames if packet.private else ():
            told(frame, len(octets))


def a_capture_file(octets: bytes) -> None:
    """A pcapng file as it came."""
    _capture(octets)


def capture_blocks(octets: bytes) -> None:
    """Blocks whose lengths are right, in either byte order, with any kind, body and options."""
    pieces = Pieces(octets)
    order = "<>"[pieces.number() & 1]
    made = bytearray()
    while pieces:
        how, body = pieces.number(), pieces.some()
        kinds = (pcapng.SECTION, pcapng.INTERFACE, pcapng.SIMPLE, pcapng.ENHANCED, how)
        kind = kinds[how % len(kinds)]
        if kind == pcapng.SECTION and not how & 128:
            body = struct.pack(f"{order}IHHQ", pcapng.MAGIC, 1, 0, pcapng.UNKNOWN_LENGTH) + body
        body += bytes(-len(body) % 4)
        length = struct.pack(f"{order}I", pcapng.SMALLEST_BLOCK + len(body))
        made += struct.pack(f"{order}I", kind) + length + body + length
    _capture(bytes(made))


def the_verb_decode(octets: bytes) -> None:
    """The verb itself on what comes from stdin: an exit code of its own, or one of our errors."""
    pieces = Pieces(octets)
    options = ["--json"] if pieces.number() & 1 else []
    done = CliRunner().invoke(decode_verb, ["-", *options], input=pieces.rest())
    if done.exception is not None and not isinstance(done.exception, SystemExit | BenchsimError):
        raise done.exception
    if options and done.exit_code == 0:
        json.loads(done.stdout)


def _by_posix(data: bytes) -> tuple[list[int | None], int]:
    """What PARMRK marks, octet by octet; and how many octets wait for the rest of their mark."""
    found: list[int | None] = []
    at = 0
    while at < len(data):
        if data[at] != 0xFF:
            found.append(data[at])
            at += 1
        elif len(data) - at < 2 or (data[at + 1] == 0 and len(data) - at < 3):
            return found, len(data) - at
        else:
            found.append(None if data[at + 1] == 0 else 0xFF)
            at += 3 if data[at + 1] == 0 else 2
    return found, 0


def damage_marks(octets: bytes) -> None:
    """Marks cut anywhere come to what POSIX says they mean."""
    pieces = Pieces(octets)
    size, data = pieces.number() % 5 + 1, pieces.rest()
    port = Marked()
    runs = [run for part in cuts(data, size) for run in port.feed(part)]
    found: list[int | None] = []
    for run in runs:
        assert run != b""
        found += [None] if run is None else list(run)
    assert found == _by_posix(data)[0]


TARGETS = {
    "stream": Target(a_stream, (framing,), ("framing.Deframer._end",), longest=6000),
    "capture": Target(
        found_in,
        (capture, explain),
        ("capture._frame_at", "capture._bad_run", "capture._whole_at"),
        longest=6000,
    ),
    "capture-frames": Target(
        laid_end_to_end, (capture, explain), ("capture._frame_at", "explain._bit_hint"), longest=3000
    ),
    "explain": Target(one_frame, (explain, meanings), ("explain._impossible", "meanings.payload_meaning")),
    "hex-text": Target(hex_text, (hextext,), ("hextext._dump", "hextext._plain"), longest=2000),
    "pcapng": Target(a_capture_file, (pcapng,), ("pcapng._Reader._packet",)),
    "pcapng-blocks": Target(capture_blocks, (pcapng,), ("pcapng._Reader._packet", "pcapng._Reader._options")),
    "decode": Target(the_verb_decode, (decode, text), ("decode._read_pcapng", "pcapng.read")),
    "marked": Target(damage_marks, (marked,), ("marked.Marked.feed",), longest=400),
}
