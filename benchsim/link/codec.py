"""Frames to messages and back, as frames.py declares them.

`read` never raises: a frame is either a Frame or a Bad that says why.  The tag of a session frame is
checked by its session, not here.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, fields
from functools import cache
from typing import Any, get_args, get_type_hints

from fastcrc import crc32

from benchsim.link import limits
from benchsim.link.frames import (
    FIRST_TAGGED,
    FROM_NODE,
    MESSAGES,
    OF_NODE,
    Again,
    Data,
    Gone,
    Header,
    Kind,
    Message,
    Wire,
)
from benchsim.link.limits import CRC_OCTETS, HEADER_OCTETS, LONGEST_FRAME, SHORTEST_FRAME, TAG_OCTETS

crc32c = crc32.iscsi


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame whose CRC, length and ranges are right.  body: header and payload; tag: b"" when untagged."""

    header: Header
    message: Message
    body: bytes
    tag: bytes


@dataclass(frozen=True, slots=True)
class Bad:
    """A frame that is refused, and why.  offset: of the first octet that shows it."""

    why: str
    offset: int = 0


@dataclass(frozen=True, slots=True)
class FieldLayout:
    """One field: name and how it lies on the wire."""

    name: str
    wire: Wire


@dataclass(frozen=True, slots=True)
class Check:
    """A number that may not take every value of its width.  place: among the fixed fields."""

    place: int
    name: str
    low: int
    high: int
    offset: int


@dataclass(frozen=True, slots=True)
class Layout:
    """A message's fields in order.  fixed: packer of all that have a fixed width; tail: what follows them."""

    fields: tuple[FieldLayout, ...]
    fixed: struct.Struct
    tail: tuple[str, ...]
    checks: tuple[Check, ...]


def layout_of(message: Any) -> Layout:
    """The layout that a declaration (Header or a message class) stands for."""
    layout: Layout = _layout_of(message)
    return layout


@cache
def _layout_of(message: Any) -> Layout:
    hints = get_type_hints(message, include_extras=True)
    found = tuple(FieldLayout(f.name, get_args(hints[f.name])[-1]) for f in fields(message))
    fixed = [f for f in found if f.wire.code not in ("ranges", "status", "samples")]
    checks, offset = [], 0
    for place, field in enumerate(fixed):
        wire, octets = field.wire, struct.calcsize("<" + field.wire.code)
        if wire.high and (wire.low, wire.high) != (0, 256**octets - 1):
            checks.append(Check(place, field.name, wire.low, wire.high, offset))
        offset += octets
    packer = struct.Struct("<" + "".join(f.wire.code for f in fixed))
    return Layout(found, packer, tuple(f.wire.code for f in found[len(fixed) :]), tuple(checks))


_HEADER_LAYOUT = layout_of(Header)
HEADER = _HEADER_LAYOUT.fixed
_RANGE = struct.Struct("<QH")


def payload_of(message: Message) -> bytes:
    """A message's octets."""
    layout = layout_of(type(message))
    if isinstance(message, (Again, Gone)):
        return bytes([len(message.ranges)]) + b"".join(_RANGE.pack(*r) for r in message.ranges)
    values = [getattr(message, f.name) for f in layout.fields]
    if isinstance(message, Data):
        return layout.fixed.pack(*values[:-2]) + message.status + message.samples
    return layout.fixed.pack(*values)


def body_of(header: Header, message: Message) -> bytes:
    """Header and payload: what tags and transcripts cover."""
    return _pack_header(header) + payload_of(message)


def _pack_header(header: Header) -> bytes:
    return HEADER.pack(
        header.version, header.kind, header.network, header.address, header.flags, header.session,
        header.sequence,
    )  # fmt: skip


def seal(body: bytes, tag: bytes = b"") -> bytes:
    """A whole frame: body, tag, and the CRC-32C of both."""
    content = body + tag
    return content + crc32c(content).to_bytes(4, "little")


def read(frame: bytes) -> Frame | Bad:
    """A frame taken apart, or why it cannot be.  Tags are not checked here."""
    size = len(frame)
    if not SHORTEST_FRAME <= size <= LONGEST_FRAME:
        return Bad(f"{size} octets; a frame has {SHORTEST_FRAME} to {LONGEST_FRAME}")
    if crc32c(frame) != limits.CRC_RESIDUE:
        return Bad("CRC-32C is wrong", size - CRC_OCTETS)
    values = HEADER.unpack_from(frame)
    if why := _out_of_range(_HEADER_LAYOUT, values, 0):
        return why
    header = Header(*values)
    message_type = MESSAGES.get(header.kind)
    if message_type is None:
        return Bad(f"unknown kind 0x{header.kind:02x}", 1)
    if (header.kind in OF_NODE) != bool(header.flags & FROM_NODE):
        return Bad(f"{Kind(header.kind).name.lower()} goes the other way", 5)
    end = size - CRC_OCTETS - (TAG_OCTETS if header.kind >= FIRST_TAGGED else 0)
    if end < HEADER_OCTETS:
        return Bad("too short for its tag", size)
    message = _read_payload(message_type, frame[HEADER_OCTETS:end])
    if isinstance(message, Bad):
        return message
    return Frame(header, message, frame[:end], frame[end : size - CRC_OCTETS])


def _read_payload(message_type: type[Any], payload: bytes) -> Any:
    layout = layout_of(message_type)
    if layout.tail == ("ranges",):
        return _read_ranges(message_type, payload)
    width = layout.fixed.size
    if len(payload) < width or (len(payload) > width and not layout.tail):
        return Bad(f"payload of {len(payload)} octets; {width} expected", HEADER_OCTETS)
    values = layout.fixed.unpack_from(payload)
    if why := _out_of_range(layout, values, HEADER_OCTETS):
        return why
    if layout.tail:
        rows, channels = values[-2], values[-1]
        if len(payload) != width + channels + 4 * rows * channels:
            return Bad(f"payload of {len(payload)} octets does not fit {rows} x {channels} samples", 30)
        values += (payload[width : width + channels], payload[width + channels :])
    return message_type(*values)


def _read_ranges(message_type: type[Any], payload: bytes) -> Any:
    count = payload[0] if payload else 0
    if not 1 <= count <= limits.MAX_RANGES or len(payload) != 1 + count * _RANGE.size:
        return Bad(f"{count} ranges in {len(payload)} octets", HEADER_OCTETS)
    ranges = tuple(_RANGE.iter_unpack(payload[1:]))
    if any(not samples for _, samples in ranges):
        return Bad("an empty range", HEADER_OCTETS + 1)
    return message_type(ranges)


def _out_of_range(layout: Layout, values: tuple[Any, ...], offset: int) -> Bad | None:
    for check in layout.checks:
        value = values[check.place]
        if not check.low <= value <= check.high:
            why = f"{check.name} is {value}; {check.low} to {check.high} is right"
            return Bad(why, offset + check.offset)
    return None
