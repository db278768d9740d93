"""Every message of the node link, declared once: name, order, width and range of each field.

A message is a frozen dataclass whose annotations are its wire layout, little-endian and unpadded.  From
these declarations come the packers of codec.py, the NumPy layout of batch.py and the construct of
definition.py, and the shipped definition file is checked against them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Annotated, Any, ClassVar

from benchsim.link.limits import MAX_CHANNELS, MAX_RANGES, MAX_SAMPLES_PER_FRAME


@dataclass(frozen=True, slots=True)
class Wire:
    """How one field lies on the wire.  code: its struct character.  low, high: the range that is taken."""

    code: str
    low: int = 0
    high: int = 0


U8 = Annotated[int, Wire("B", 0, 0xFF)]
U16 = Annotated[int, Wire("H", 0, 0xFFFF)]
U32 = Annotated[int, Wire("I", 0, 0xFFFF_FFFF)]
U64 = Annotated[int, Wire("Q", 0, 0xFFFF_FFFF_FFFF_FFFF)]
Address = Annotated[int, Wire("B", 1, 16)]
VersionNumber = Annotated[int, Wire("B", 1, 0xFF)]
Channels = Annotated[int, Wire("B", 1, MAX_CHANNELS)]
Rows = Annotated[int, Wire("B", 1, MAX_SAMPLES_PER_FRAME)]
Octets8 = Annotated[bytes, Wire("8s")]
Octets16 = Annotated[bytes, Wire("16s")]
Octets32 = Annotated[bytes, Wire("32s")]
Ranges = Annotated[tuple[tuple[int, int], ...], Wire("ranges", 1, MAX_RANGES)]
PerChannel = Annotated[bytes, Wire("status")]
Matrix = Annotated[bytes, Wire("samples")]


class Kind(IntEnum):
    """What a frame is.  From 0x10 up a frame belongs to a session and carries a tag."""

    SEEK = 0x01
    OFFER = 0x02
    PROVE = 0x03
    ACCEPT = 0x04
    REFUSE = 0x05
    BEAT = 0x11
    ECHO = 0x12
    AGAIN = 0x13
    GONE = 0x14
    RESUME = 0x15
    RESUMED = 0x16
    RELEASE = 0x17
    RELEASED = 0x18
    DATA = 0x20
    REPEAT = 0x21


FIRST_TAGGED = 0x10
FROM_NODE = 0x01


@dataclass(frozen=True, slots=True)
class Header:
    """The same 14 octets before every frame of every version.  flags: bit 0 is set on frames of a node."""

    version: VersionNumber
    kind: U8
    network: U16
    address: Address
    flags: Annotated[int, Wire("B", 0, 1)]
    session: U32
    sequence: U32


@dataclass(frozen=True, slots=True)
class Seek:
    """Host asks who is at an address, and says what it speaks and wants."""

    KIND: ClassVar[Kind] = Kind.SEEK
    host_id: U64
    version_low: VersionNumber
    version_high: VersionNumber
    samples_per_frame: Rows
    cells: Annotated[int, Wire("B", 0, MAX_CHANNELS)]
    beat_us: Annotated[int, Wire("I", 10_000, 60_000_000)]
    offer_window_us: Annotated[int, Wire("I", 1_000, 10_000_000)]
    public: Octets32


@dataclass(frozen=True, slots=True)
class Offer:
    """Node says who it is and what it has."""

    KIND: ClassVar[Kind] = Kind.OFFER
    serial: U64
    version: VersionNumber
    channels: Channels
    rate_hz: Annotated[int, Wire("H", 1, 0xFFFF)]
    samples_per_frame: Rows
    firmware_major: U8
    firmware_minor: U8
    buffer_samples: U16
    fingerprint: Octets8
    public: Octets32


@dataclass(frozen=True, slots=True)
class Prove:
    """Host proves that it has the pairing key, to the node of this serial number."""

    KIND: ClassVar[Kind] = Kind.PROVE
    serial: U64
    proof: Octets16


@dataclass(frozen=True, slots=True)
class Accept:
    """Node proves the same, and says with which sample the flow will begin."""

    KIND: ClassVar[Kind] = Kind.ACCEPT
    serial: U64
    next_sample: U64
    proof: Octets16


class RefuseReason(IntEnum):
    """Why a node refuses."""

    WRONG_NETWORK = 1
    BOUND = 2
    VERSION = 3
    WRONG_KEY = 4
    TWO_NODES = 5
    NO_SESSION = 6


@dataclass(frozen=True, slots=True)
class Refuse:
    """Node says no, and why.  network, version_low, version_high: its own."""

    KIND: ClassVar[Kind] = Kind.REFUSE
    reason: Annotated[int, Wire("B", 1, max(RefuseReason))]
    serial: U64
    network: U16
    version_low: VersionNumber
    version_high: VersionNumber


@dataclass(frozen=True, slots=True)
class Beat:
    """Host is alive; host_t_us is its own clock and only echoed."""

    KIND: ClassVar[Kind] = Kind.BEAT
    host_t_us: U64


@dataclass(frozen=True, slots=True)
class Echo:
    """Node answers a beat.  next_sample: the first sample it has not sent yet."""

    KIND: ClassVar[Kind] = Kind.ECHO
    host_t_us: U64
    node_t_us: U64
    next_sample: U64


@dataclass(frozen=True, slots=True)
class Again:
    """Host lists all the samples it lacks: (first, count) each.  Takes the place of an earlier list."""

    KIND: ClassVar[Kind] = Kind.AGAIN
    ranges: Ranges


@dataclass(frozen=True, slots=True)
class Gone:
    """Node no longer has these samples."""

    KIND: ClassVar[Kind] = Kind.GONE
    ranges: Ranges


@dataclass(frozen=True, slots=True)
class Resume:
    """Host takes up a session after silence, with new keys.  epoch: one higher at each try."""

    KIND: ClassVar[Kind] = Kind.RESUME
    epoch: Annotated[int, Wire("I", 1, 0xFFFF_FFFF)]
    nonce: Octets16


@dataclass(frozen=True, slots=True)
class Resumed:
    """Node agrees; both nonces go into the new keys."""

    KIND: ClassVar[Kind] = Kind.RESUMED
    epoch: Annotated[int, Wire("I", 1, 0xFFFF_FFFF)]
    host_nonce: Octets16
    nonce: Octets16
    next_sample: U64


@dataclass(frozen=True, slots=True)
class Release:
    """Host lets the node go; it is bound to nobody afterwards."""

    KIND: ClassVar[Kind] = Kind.RELEASE
    host_t_us: U64


@dataclass(frozen=True, slots=True)
class Released:
    """Node has forgotten the host."""

    KIND: ClassVar[Kind] = Kind.RELEASED
    host_t_us: U64


@dataclass(frozen=True, slots=True)
class Data:
    """rows samples of channels channels, int32, row after row; one status octet a channel for all rows.

    first: sample counter of the first row.  node_t_us: the node's clock at that sample.
    """

    KIND: ClassVar[Kind] = Kind.DATA
    first: U64
    node_t_us: U64
    rows: Rows
    channels: Channels
    status: PerChannel
    samples: Matrix


@dataclass(frozen=True, slots=True)
class Repeat(Data):
    """Samples sent again because the host asked.  Laid out as data."""

    KIND: ClassVar[Kind] = Kind.REPEAT


Message = (
    Seek | Offer | Prove | Accept | Refuse | Beat | Echo | Again | Gone | Resume | Resumed
    | Release | Released | Data
)  # fmt: skip

MESSAGES: dict[int, type[Any]] = {
    m.KIND: m
    for m in (Seek, Offer, Prove, Accept, Refuse, Beat, Echo, Again, Gone, Resume, Resumed, Release, Released,
              Data, Repeat)
}  # fmt: skip
OF_NODE = frozenset({
    Kind.OFFER, Kind.ACCEPT, Kind.REFUSE, Kind.ECHO, Kind.GONE, Kind.RESUMED, Kind.RELEASED, Kind.DATA,
    Kind.REPEAT,
})  # fmt: skip
