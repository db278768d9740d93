"""pcapng blocks to packets and back: bytes in, values out, no file is opened here.

Source: the pcapng draft of the IETF, state of 2026-05-14; what is marked memory is recalled and not in our
notes of it.  A packet of the node link is one bare frame, header to CRC, without COBS.  A file that is cut or
damaged gives all packets before the damage, and a note that says where it ends.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

from benchsim.ground.errors import BadInput

# Our own choice from 65001 to 65535, the range that is meant for private use; whoever else uses this number
# means something else by it.  147 to 162 were meant for that before and are still found in files.
LINK_TYPE = 65_200
PRIVATE_LINK_TYPES = (range(65_001, 65_536), range(147, 163))

SECTION, INTERFACE, SIMPLE, ENHANCED = 0x0A0D_0D0A, 1, 3, 6
MAGIC = 0x1A2B_3C4D
VERSIONS = ((1, 0), (1, 2))
UNKNOWN_LENGTH = 0xFFFF_FFFF_FFFF_FFFF
COMMENT, FLAGS = 1, 2
NAME, DESCRIPTION, RESOLUTION, TIME_OFFSET = 2, 3, 9, 14  # of an interface; all but 9 (if_tsresol): memory
SMALLEST_BLOCK = 12
SECOND_US = 1_000_000

Option = tuple[int, bytes]


class Direction(IntEnum):
    """Bits 0 and 1 of the flags of a packet, as the end sees it at which it was captured."""

    UNKNOWN = 0
    INBOUND = 1
    OUTBOUND = 2


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet.  t_us: None where the file says no time.  octets: its length on the link, 0: as captured.

    offset: where its data stand in the file that was read.  interface: the name of the one it came through.
    """

    data: bytes
    t_us: int | None = None
    direction: Direction = Direction.UNKNOWN
    link_type: int = LINK_TYPE
    octets: int = 0
    offset: int = 0
    comment: str = ""
    interface: str = ""

    @property
    def private(self) -> bool:
        """Whether its link type is one for private use."""
        return any(self.link_type in span for span in PRIVATE_LINK_TYPES)


@dataclass(frozen=True, slots=True)
class Capture:
    """What a file gave.  notes: what it lacks, in sentences."""

    packets: tuple[Packet, ...]
    notes: tuple[str, ...] = ()


# -- writing -------------------------------------------------------------------------------------------


def section_header(options: Sequence[Option] = ()) -> bytes:
    """The first block of a file, little-endian, version 1.0, length not said."""
    return _block(SECTION, struct.pack("<IHHQ", MAGIC, *VERSIONS[0], UNKNOWN_LENGTH) + _options(options))


def interface(link_type: int = LINK_TYPE, options: Sequence[Option] = ()) -> bytes:
    """An interface: times in microseconds, packets of any length."""
    return _block(INTERFACE, struct.pack("<HHI", link_type, 0, 0) + _options(options))


def enhanced_packet(packet: Packet, at: int = 0) -> bytes:
    """A packet on the interface number `at`; t_us None is written as 0.  Its interface's name is not here."""
    t_us, captured = packet.t_us or 0, len(packet.data)
    head = struct.pack("<IIIII", at, t_us >> 32, t_us & 0xFFFF_FFFF, captured, packet.octets or captured)
    options = [(COMMENT, packet.comment.encode())] if packet.comment else []
    if packet.direction:
        options.append((FLAGS, struct.pack("<I", packet.direction)))
    return _block(ENHANCED, head + _padded(packet.data) + _options(options))


def capture_file(packets: Iterable[Packet], comment: str = "", name: str = "") -> bytes:
    """A whole file of one interface.  comment: on the section.  name: of the interface."""
    said = [(COMMENT, comment.encode())] if comment else []
    named = [(NAME, name.encode())] if name else []
    blocks = [section_header(said), interface(LINK_TYPE, named)]
    return b"".join([*blocks, *(enhanced_packet(p) for p in packets)])


def _padded(octets: bytes) -> bytes:
    return octets + bytes(-len(octets) % 4)


def _options(options: Sequence[Option]) -> bytes:
    """Options and the end of options; nothing at all when there are none."""
    parts = [struct.pack("<HH", code, len(value)) + _padded(value) for code, value in options]
    return b"".join([*parts, bytes(4)]) if parts else b""


def _block(kind: int, body: bytes) -> bytes:
    length = struct.pack("<I", SMALLEST_BLOCK + len(body))
    return struct.pack("<I", kind) + length + body + length


# -- reading -------------------------------------------------------------------------------------------


def is_pcapng(data: bytes) -> bool:
    """Whether these octets begin as a section does: that block's number reads the same either way round."""
    return data[:4] == SECTION.to_bytes(4, "little")


def read(data: bytes) -> Capture:
    """The packets of a file, in its order.  Raises BadInput for what does not begin as pcapng does."""
    if not is_pcapng(data):
        raise BadInput("no pcapng: it does not begin with a section header")
    reader = _Reader(data)
    packets = tuple(reader.packets())
    return Capture(packets, tuple(reader.notes))


@dataclass(frozen=True, slots=True)
class _Interface:
    """ticks: of its time stamps a second.  offset_s: what is added to them."""

    link_type: int
    ticks: int = SECOND_US
    offset_s: int = 0
    name: str = ""

    def t_us(self, ticks: int) -> int:
        return ticks * SECOND_US // self.ticks + self.offset_s * SECOND_US


@dataclass(slots=True)
class _Reader:
    """One file being read.  order: of the section that is read, "" while a section is not ours to read."""

    data: bytes
    order: str = "<"
    interfaces: list[_Interface] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def packets(self) -> Iterator[Packet]:
        skipping = False
        for kind, start, end in self._blocks():
            if kind == SECTION:
                skipping = not self._section(start, end)
            elif skipping:
                continue
            elif kind == INTERFACE:
                self._interface(start, end)
            elif kind in (ENHANCED, SIMPLE):
                yield from self._packet(kind, start, end)

    def _blocks(self) -> Iterator[tuple[int, int, int]]:
        """Kind, and where the body begins and ends, up to the end or to the first block that cannot be."""
        at, size = 0, len(self.data)
        while at < size:
            if is_pcapng(self.data[at : at + 4]):
                self.order = "<" if self.data[at + 8 : at + 12] == MAGIC.to_bytes(4, "little") else ">"
            why = ""
            if size - at < SMALLEST_BLOCK:
                why = "is cut off"
            else:
                kind, length = self._unpack("II", at)
                if length < SMALLEST_BLOCK or length % 4:
                    why = f"says it has {length} octets"
                elif length > size - at:
                    why = f"is cut off: {size - at} of its {length} octets are there"
                elif self._unpack("I", at + length - 4) != (length,):
                    why = "ends with another length than it begins with"
            if why:
                self.notes.append(f"the pcapng block at {at} {why}; the file is read up to there")
                return
            yield kind, at + 8, at + length - 4
            at += length

    def _unpack(self, layout: str, at: int) -> tuple[int, ...]:
        return struct.unpack_from(self.order + layout, self.data, at)

    def _section(self, start: int, end: int) -> bool:
        """Begin a section.  False: of a version that is not known, or no section header at all."""
        self.interfaces.clear()
        if end - start < 16 or self._unpack("I", start) != (MAGIC,):
            self.notes.append(f"the section at {start - 8} has no byte-order magic and is left out")
            return False
        version = self._unpack("HH", start + 4)
        if version not in VERSIONS:
            self.notes.append(f"the section at {start - 8} is of version {version[0]}.{version[1]}, left out")
            return False
        return True

    def _interface(self, start: int, end: int) -> None:
        if end - start < 8:
            self.interfaces.append(_Interface(-1))
            return
        (link_type,) = self._unpack("H", start)
        options = dict(self._options(start + 8, end))
        ticks, offset_s = SECOND_US, 0
        if resolution := options.get(RESOLUTION):
            power = resolution[0] & 0x7F
            ticks = 2**power if resolution[0] & 0x80 else 10**power
        if len(raw := options.get(TIME_OFFSET, b"")) == 8:
            offset_s = struct.unpack(self.order + "q", raw)[0]
        name = options.get(NAME, b"").decode(errors="replace")
        self.interfaces.append(_Interface(link_type, ticks, offset_s, name))

    def _options(self, at: int, end: int) -> Iterator[Option]:
        while at + 4 <= end:
            code, octets = self._unpack("HH", at)
            if not code or at + 4 + octets > end:
                return
            yield code, self.data[at + 4 : at + 4 + octets]
            at += 4 + octets + -octets % 4

    def _packet(self, kind: int, start: int, end: int) -> Iterator[Packet]:
        head = 20 if kind == ENHANCED else 4
        if end - start < head:
            self.notes.append(f"the packet at {start - 8} has no room for its head and is left out")
            return
        if kind == ENHANCED:
            at, high, low, captured, octets = self._unpack("5I", start)
        else:
            (octets,) = self._unpack("I", start)
            at, high, low, captured = 0, 0, 0, min(octets, end - start - head)
        data = self.data[start + head : min(start + head + captured, end)]
        if len(data) < captured or at >= len(self.interfaces):
            more = "more octets than its block has"
            why = more if len(data) < captured else f"interface {at}, which is not there"
            self.notes.append(f"the packet at {start - 8} names {why}; it is left out")
            return
        link = self.interfaces[at]
        t_us = link.t_us(high << 32 | low) if kind == ENHANCED else None
        options = (
            dict(self._options(start + head + captured + -captured % 4, end)) if kind == ENHANCED else {}
        )
        flags = options.get(FLAGS, b"")
        towards = int.from_bytes(flags, "little" if self.order == "<" else "big") & 3
        known = Direction(towards) if towards < 3 else Direction.UNKNOWN
        comment = options.get(COMMENT, b"").decode(errors="replace")
        yield Packet(data, t_us, known, link.link_type, octets, start + head, comment, link.name)
