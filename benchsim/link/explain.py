"""One captured frame of the node link, field by field: what stands where, what it means, what is wrong.

codec.read alone judges whether a frame is good; here a bad one is told as well, as far as it can be read,
with the place in the capture where it shows.  Whatever the octets are, nothing here raises.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from benchsim.link import codec, limits, meanings
from benchsim.link.codec import Bad, FieldLayout, crc32c, layout_of
from benchsim.link.frames import FIRST_TAGGED, MESSAGES, OF_NODE, Header, Wire
from benchsim.link.limits import CRC_OCTETS, HEADER_OCTETS, LONGEST_FRAME, SHORTEST_FRAME, TAG_OCTETS

NO_FRAME = "no frame"
_HEADER_FIELDS = layout_of(Header).fields
_ROWS_AT = HEADER_OCTETS + 16
_RANGE = struct.Struct("<QH")


@dataclass(frozen=True, slots=True)
class Field:
    """One field.  places: where in the capture each of its octets stands.  value: a number, text or list."""

    places: Sequence[int]
    octets: bytes
    name: str
    value: Any
    meaning: str

    def document(self) -> dict[str, Any]:
        """As JSON has it."""
        return {"offset": self.places[0], "name": self.name, "value": self.value, "meaning": self.meaning}


@dataclass(frozen=True, slots=True)
class Explained:
    """What stands at a place of the capture: a frame, or octets that are none.

    offset: where it begins there, COBS code included.  octets: how many there are, COBS undone.  kind: by its
    name, "0x7f" for an unknown one, NO_FRAME for what is none.  why: "" when valid.
    """

    offset: int
    octets: int
    kind: str
    direction: str
    fields: tuple[Field, ...]
    why: str

    @property
    def valid(self) -> bool:
        """Whether it is a frame as it should be, its tag apart: checking that takes keys."""
        return not self.why

    def document(self) -> dict[str, Any]:
        """As JSON has it."""
        return {
            "offset": self.offset,
            "kind": self.kind,
            "fields": [f.document() for f in self.fields],
            "valid": self.valid,
            "why": self.why,
        }


def explain(octets: bytes, places: Sequence[int], offset: int, why: str = "") -> Explained:
    """A frame, good or bad.  places: of each octet.  why: what is known to be wrong already."""
    kind = octets[1] if len(octets) > 1 else -1
    name = meanings.kind_name(kind) if kind >= 0 else NO_FRAME
    fields = tuple(_Walk(octets, places).fields())
    return Explained(
        offset, len(octets), name, meanings.direction_of(kind), fields, why or judge(octets, places)
    )


def no_frame(octets: bytes, places: Sequence[int], offset: int, why: str) -> Explained:
    """Octets that are no frame, shown as they are."""
    said = f"{len(octets)} octet{'s' * (len(octets) != 1)}"
    fields = (Field(places, octets, "octets", octets.hex(), said),) if octets else ()
    return Explained(offset, len(octets), NO_FRAME, "", fields, why)


# -- judging -------------------------------------------------------------------------------------------


def is_whole(octets: bytes) -> bool:
    """Whether these octets, all of them, have a frame's length and a right CRC."""
    return SHORTEST_FRAME <= len(octets) <= LONGEST_FRAME and crc32c(octets) == limits.CRC_RESIDUE


def plausibility(octets: bytes) -> int:
    """How much these octets look like a frame's header, 0 to 4.  Nothing found at random reaches 3 often."""
    if len(octets) < 6:
        return 0
    kind, flags = octets[1], octets[5]
    known = kind in MESSAGES
    return sum((
        octets[0] == 1,
        known,
        1 <= octets[4] <= 16,
        flags == int(kind in OF_NODE) if known else flags <= 1,
    ))  # fmt: skip


def octets_needed(octets: bytes) -> int | None:
    """How long a frame is that begins with these octets, None when that cannot be told."""
    message = MESSAGES.get(octets[1]) if len(octets) > 1 else None
    if message is None:
        return None
    layout = layout_of(message)
    payload = layout.fixed.size
    if layout.tail == ("ranges",):
        if len(octets) <= HEADER_OCTETS:
            return None
        payload = 1 + octets[HEADER_OCTETS] * _RANGE.size
    elif layout.tail:
        if len(octets) <= _ROWS_AT + 1:
            return None
        rows, channels = octets[_ROWS_AT], octets[_ROWS_AT + 1]
        payload += channels + 4 * rows * channels
    return HEADER_OCTETS + payload + (TAG_OCTETS if octets[1] >= FIRST_TAGGED else 0) + CRC_OCTETS


def judge(octets: bytes, places: Sequence[int]) -> str:
    """Where and why a frame is bad, "" for a good one."""
    heard = codec.read(octets)
    if not isinstance(heard, Bad):
        return ""
    if not SHORTEST_FRAME <= len(octets) <= LONGEST_FRAME:
        return heard.why + _length_hint(octets)
    at = min(heard.offset, len(octets) - 1)
    if crc32c(octets) == limits.CRC_RESIDUE:
        return f"at {places[at]}: {heard.why}"
    found, expected = octets[-CRC_OCTETS:], crc32c(octets[:-CRC_OCTETS])
    why = f"CRC-32C is 0x{int.from_bytes(found, 'little'):08x}, 0x{expected:08x} expected"
    return f"at {places[at]}: {why}{_bit_hint(octets, places) or _length_hint(octets)}"


def _length_hint(octets: bytes) -> str:
    needed = octets_needed(octets)
    if needed is None or needed == len(octets):
        return ""
    return f"; a {meanings.kind_name(octets[1])} like this has {needed} octets, {len(octets)} are here"


def _bit_hint(octets: bytes, places: Sequence[int]) -> str:
    """Names the one bit whose inversion makes the CRC right, if there is one."""
    bit = _syndromes().get(crc32c(octets) ^ limits.CRC_RESIDUE)
    if bit is None or bit >= 8 * len(octets):
        return ""
    place = places[len(octets) - 1 - bit // 8]
    return f"; right but for one bit, 0x{1 << bit % 8:02x} of the octet at {place}"


@cache
def _syndromes() -> dict[int, int]:
    """What one wrong bit does to the residue, by its distance from the frame's end: a CRC is linear."""
    found = {}
    for behind in range(LONGEST_FRAME):
        plain = crc32c(bytes(behind + 1))
        for bit in range(8):
            found[crc32c(bytes([1 << bit]) + bytes(behind)) ^ plain] = 8 * behind + bit
    return found


# -- reading fields ------------------------------------------------------------------------------------


class _Walk:
    """Reads fields in order, and what is left of them where the octets end early."""

    def __init__(self, octets: bytes, places: Sequence[int]) -> None:
        self._octets, self._places, self._at = octets, places, 0
        self._kind = octets[1] if len(octets) > 1 else -1
        self._known = self._kind in MESSAGES
        self._seen: dict[str, Any] = {}
        self._end, self._tag_end = self._ends()

    def _ends(self) -> tuple[int, int]:
        """Where the payload and where the tag ends: counted from behind, or from the front in a cut frame."""
        size, needed = len(self._octets), octets_needed(self._octets)
        tag = TAG_OCTETS if self._known and self._kind >= FIRST_TAGGED else 0
        if size < SHORTEST_FRAME:
            return size, size
        if self._known and (needed is None or needed > size) and not is_whole(self._octets):
            payload_end = min(size, needed - CRC_OCTETS - tag) if needed else size
            return payload_end, min(size, payload_end + tag)
        tag_end = size - CRC_OCTETS
        return max(tag_end - tag, HEADER_OCTETS), tag_end

    def fields(self) -> Iterator[Field]:
        for field in _HEADER_FIELDS:
            yield from self._field(field, meanings.header_meaning)
        if self._known:
            for field in layout_of(MESSAGES[self._kind]).fields:
                yield from self._field(field, meanings.payload_meaning)
        rest = ("surplus", "more than belongs here") if self._known else ("payload", "of an unknown kind")
        yield from self._rest(*rest)
        self._end = self._tag_end
        yield from self._rest("tag", "not checked: needs its key", TAG_OCTETS)
        self._end = len(self._octets)
        yield from self._crc()

    def _take(self, octets: int) -> tuple[Sequence[int], bytes]:
        start = self._at
        self._at = min(start + octets, self._end)
        return self._places[start : self._at], self._octets[start : self._at]

    def _rest(self, name: str, meaning: str, expected: int = 0) -> Iterator[Field]:
        """All up to the present end as one field."""
        places, found = self._take(self._end - self._at)
        if found:
            yield Field(places, found, name, found.hex(), _cut(found, expected) or meaning)

    def _crc(self) -> Iterator[Field]:
        right = crc32c(self._octets[: self._at])
        places, found = self._take(CRC_OCTETS)
        value = int.from_bytes(found, "little")
        meaning = f"0x{value:08x}, " + ("right" if value == right else f"0x{right:08x} expected")
        if found:
            yield Field(places, found, "crc", value, _cut(found, CRC_OCTETS) or meaning)

    def _field(self, field: FieldLayout, explained: Callable[[str, Any, int], str]) -> Iterator[Field]:
        wire, name = field.wire, field.name
        octets = self._width(wire.code)
        places, found = self._take(octets)
        if not found:
            return
        cut = _cut(found, octets)
        listed = wire.code in ("ranges", "status", "samples")
        value: Any = found.hex() if cut and not listed else self._value(wire.code, found)
        if not cut:
            self._seen[name] = value
        wrong = _impossible(wire, value, found)
        yield Field(places, found, name, value, wrong or cut or explained(name, value, self._kind))

    def _width(self, code: str) -> int:
        """Octets of a field, for lists by what was read before them."""
        if code == "ranges":
            return 1 + _RANGE.size * (self._octets[self._at] if self._at < self._end else 0)
        if code == "status":
            return int(self._seen.get("channels", 0))
        if code == "samples":
            return 4 * int(self._seen.get("channels", 0)) * int(self._seen.get("rows", 0))
        return struct.calcsize("<" + code)

    def _value(self, code: str, found: bytes) -> Any:
        """A number, hexadecimal digits, or a list of the members that are whole."""
        if code == "ranges":
            whole = found[1 : 1 + (len(found) - 1) // _RANGE.size * _RANGE.size]
            return [list(pair) for pair in _RANGE.iter_unpack(whole)]
        if code == "status":
            return list(found)
        if code == "samples":
            values = [v for (v,) in struct.iter_unpack("<i", found[: len(found) // 4 * 4])]
            channels = int(self._seen["channels"])
            return [values[n : n + channels] for n in range(0, len(values), channels)]
        return found.hex() if code.endswith("s") else int.from_bytes(found, "little")


def _cut(found: bytes, octets: int) -> str:
    return f"cut: {len(found)} of {octets} octets" if len(found) < octets else ""


def _impossible(wire: Wire, value: Any, found: bytes) -> str:
    """Why a field cannot have this value, "" when it can."""
    count = found[0] if wire.code == "ranges" else value
    if isinstance(count, int) and wire.high and not wire.low <= count <= wire.high:
        return f"out of range: {wire.low} to {wire.high} is right"
    if wire.code == "ranges" and any(not samples for _, samples in value):
        return "out of range: an empty one"
    return ""
