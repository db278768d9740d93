"""Targets for whole frames: the codec beside the constructs, data frames one by one beside many at once.

CRC and tag are made right here, so that what is tried stands behind them.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from construct import ConstructError

from benchsim.link import batch, codec, data, definition, frames
from benchsim.link.codec import Bad, Frame, layout_of
from benchsim.link.frames import FROM_NODE, OF_NODE, Header, Kind
from benchsim.link.session import Session
from tests.fuzz.pieces import Pieces, Target

KINDS = tuple(Kind)
NUMBER, NETWORK, ADDRESS = 0x5EED_0001, 7, 3
SECRET = bytes(range(32))


@cache
def _construct(kind: Kind) -> Any:
    return definition.frame_construct(kind)


def by_construct(kind: Kind, frame: bytes) -> Any:
    """The frame's parts as its construct reads them, None when it refuses."""
    try:
        return _construct(kind).parse(frame).sealed.value
    except ConstructError:
        return None


def same(parsed: Any, heard: Frame) -> None:
    """Both have read the same values."""
    assert parsed is not None
    for name in Header.__slots__:
        assert parsed.header[name] == getattr(heard.header, name)
    for field in layout_of(type(heard.message)).fields:
        found, said = parsed.payload[field.name], getattr(heard.message, field.name)
        if field.wire.code == "ranges":
            found = tuple(tuple(r) for r in found)
        elif field.wire.code == "samples":
            found = b"".join(v.to_bytes(4, "little", signed=True) for row in found for v in row)
        assert found == said


def body(kind: int, pieces: Pieces) -> bytes:
    """A header of a kind with its direction, and any payload.  An odd first octet leaves all as it came."""
    how = pieces.number()
    header = bytearray(pieces.take(codec.HEADER.size).ljust(codec.HEADER.size, b"\1"))
    if not how & 1:
        header[0], header[1] = header[0] or 1, kind
        header[4], header[5] = header[4] % 16 + 1, FROM_NODE if kind in OF_NODE else 0
    return bytes(header) + pieces.rest()


def a_frame(octets: bytes) -> None:
    """A frame with a right CRC is read as its construct reads it, or refused by both; it comes back whole."""
    pieces = Pieces(octets)
    kind = KINDS[pieces.number() % len(KINDS)]
    frame = codec.seal(body(kind, pieces))
    heard = codec.read(frame)
    if isinstance(heard, Bad):
        assert heard.why
        assert 0 <= heard.offset <= len(frame)
        assert by_construct(kind, frame) is None
        return
    same(by_construct(Kind(heard.header.kind), frame), heard)
    assert codec.seal(codec.body_of(heard.header, heard.message), heard.tag) == frame


def _session() -> Session:
    return Session(NUMBER, 1, NETWORK, ADDRESS, 0, SECRET)


def _data_frame(pieces: Pieces, k: int, channels: int, session: Session) -> bytes:
    """One frame of k samples: everything in it as a good node has it, but for what its first octet twists."""
    twist, sequence, first = pieces.number(), pieces.number(2), pieces.number(2)
    made = bytearray(
        data.HEAD.pack(1, Kind.DATA, NETWORK, ADDRESS, FROM_NODE, NUMBER, sequence, first, first, k, channels)
    )
    size = channels + 4 * k * channels
    made += pieces.take(min(size, twist % 16)).ljust(size, b"\0")
    if twist & 32:
        place = pieces.number(2) % len(made)
        made[place] ^= pieces.number()
        made[1] = Kind.DATA
    tag = bytearray(session.into.tag(bytes(made)))
    if twist & 64:
        tag[pieces.number() % len(tag)] ^= pieces.number()
    return codec.seal(bytes(made), bytes(tag))


def data_frames(octets: bytes) -> None:
    """Frames of one size, one by one and all at once: the same are taken; the codec reads each that is."""
    pieces = Pieces(octets)
    k, channels = pieces.number() % 10 + 1, pieces.number() % 4 + 1
    one_by_one, at_once = _session(), _session()
    made: list[bytes] = []
    while pieces and len(made) < 100:
        made.append(_data_frame(pieces, k, channels, one_by_one))
    taken = [data.take(one_by_one, frame) for frame in made]
    assert [None if isinstance(t, str) else t for t in taken] == batch.take(at_once, made, k, channels)
    for frame, answer in zip(made, taken, strict=True):
        heard = codec.read(frame)
        if isinstance(answer, str):
            continue
        assert isinstance(heard, Frame)
        assert isinstance(heard.message, frames.Data)
        m = heard.message
        assert answer == (m.first, m.node_t_us, m.rows, m.channels, m.status, m.samples)


def any_data(octets: bytes) -> None:
    """Octets of any length with a right CRC, as a data frame; and with a right tag where there is room."""
    session = _session()
    assert isinstance(data.take(session, codec.seal(octets)), tuple | str)
    taken = data.take(session, codec.seal(octets, session.into.tag(octets)))
    heard = codec.read(codec.seal(octets, session.into.tag(octets)))
    if not isinstance(taken, str) and octets[1] == Kind.DATA:
        assert isinstance(heard, Frame)
        assert (heard.message.first, heard.message.samples) == (taken[0], taken[5])  # type: ignore[union-attr]


TARGETS = {
    "codec": Target(
        a_frame, (codec,), ("codec._read_ranges", "codec._read_payload", "codec.payload_of"), longest=1400
    ),
    "data-batch": Target(
        data_frames, (data, batch), ("data.take", "batch.verify", "batch.take"), longest=1000
    ),
    "data": Target(any_data, (data,), ("data.take",), longest=1400),
}
