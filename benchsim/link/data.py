"""Data frames one at a time, without any object between the numbers and the octets: the hot path.

Same layout as frames.Data, from the same declaration; batch.py makes many at once, byte for byte alike.
"""

from __future__ import annotations

import struct

from benchsim.link.codec import HEADER, crc32c, layout_of
from benchsim.link.frames import FROM_NODE, Data, Kind
from benchsim.link.limits import CRC_OCTETS, CRC_RESIDUE, MAX_CHANNELS, MAX_SAMPLES_PER_FRAME, TAG_OCTETS
from benchsim.link.session import Session

# header and fixed fields of data in one: version, kind, network, address, flags, session, sequence, first,
# node_t_us, rows, channels
HEAD = struct.Struct(HEADER.format + layout_of(Data).fixed.format[1:])
FOOT_OCTETS = TAG_OCTETS + CRC_OCTETS


def make(
    session: Session, kind: Kind, sequence: int, first: int, cut: tuple[int, bytes, bytes], rows: int
) -> bytes:
    """One sealed data or repeat frame.  cut: node time of the first row, status octets, sample octets."""
    node_t_us, status, octets = cut
    body = (
        HEAD.pack(
            session.version, kind, session.network, session.address, FROM_NODE, session.number, sequence,
            first, node_t_us, rows, len(status),
        )
        + status
        + octets
    )  # fmt: skip
    content = body + session.out.tag(body)
    return content + crc32c(content).to_bytes(4, "little")


def whole(frame: bytes) -> bool:
    """Whether a frame is long enough to have a header and its CRC is right."""
    return len(frame) >= HEADER.size + CRC_OCTETS and crc32c(frame) == CRC_RESIDUE


Taken = tuple[int, int, int, int, bytes, bytes]


def take(session: Session, frame: bytes) -> Taken | str:
    """(first, node_t_us, rows, channels, status, octets) of a data frame whose CRC is right, or why not.

    A frame that is taken has used up its sequence number: it will not be taken again.
    """
    size = len(frame)
    if size < HEAD.size + FOOT_OCTETS:
        return "too short"
    version, _, network, address, flags, number, sequence, first, node_t_us, rows, channels = (
        HEAD.unpack_from(frame)
    )
    if number != session.number or network != session.network or version != session.version:
        return "not of this session"
    start = HEAD.size + channels
    end = start + 4 * rows * channels
    if not (0 < rows <= MAX_SAMPLES_PER_FRAME and 0 < channels <= MAX_CHANNELS):
        return "out of range"
    if end + FOOT_OCTETS != size or flags != FROM_NODE or address != session.address:
        return "its length does not fit"
    window = session.data
    if not window.fresh(sequence):
        return "seen before, or older than the window"
    if not session.into.fits(frame[:end], frame[end : end + TAG_OCTETS]):
        return "its tag is wrong"
    window.take(sequence)
    return first, node_t_us, rows, channels, frame[HEAD.size : start], frame[start:end]
