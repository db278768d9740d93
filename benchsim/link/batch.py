"""The same data frames, many at a time: byte for byte what data.py makes and takes one by one.

The layout of a row is made from the declaration in frames.py.  A batch has one session, one k and one
number of channels.  build serves the nodes; verify and take are for those who read many frames at once (a
capture, a recording): the host on the bench hears its frames one by one and does not call them.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from benchsim.link import cmac, data
from benchsim.link.cmac import Many
from benchsim.link.codec import crc32c, layout_of
from benchsim.link.frames import FROM_NODE, Data, Header, Kind
from benchsim.link.limits import CRC_OCTETS, CRC_RESIDUE, TAG_OCTETS
from benchsim.link.session import Session
from benchsim.link.store import Block, Store

# Below this many frames, making them one by one is faster (measured).
WORTH_A_BATCH = 32

_NUMPY = {"B": "u1", "H": "<u2", "I": "<u4", "Q": "<u8"}


@cache
def row_type(rows: int, channels: int) -> np.dtype[np.void]:
    """One data frame's body as a NumPy record, with room behind it up to whole cipher blocks."""
    names, formats, offsets, at = [], [], [], 0
    for field in (*layout_of(Header).fields, *layout_of(Data).fields):
        code = field.wire.code
        form = {"status": f"({channels},)u1", "samples": f"({rows},{channels})<i4"}.get(code)
        form = form or _NUMPY[code]
        names.append(field.name)
        formats.append(form)
        offsets.append(at)
        at += np.dtype(form).itemsize
    return np.dtype({"names": names, "formats": formats, "offsets": offsets, "itemsize": cmac.padded(at)})


def body_octets(rows: int, channels: int) -> int:
    """Header and payload of a data frame."""
    return data.HEAD.size + channels + 4 * rows * channels


def build(session: Session, store: Store, first: int, count: int, k: int) -> tuple[list[int], list[bytes]]:
    """count data frames of k samples from sample `first` on: when each is due, and the frames."""
    times: list[int] = []
    frames: list[bytes] = []
    sequence = session.data_sequence
    while count:
        block, start = store.block_at(first)
        inside = min(count, (block.rows - start) // k)
        if inside >= WORTH_A_BATCH:
            frames += _from_block(session, block, start, inside, k, sequence)
            times += block.t_us[start + k - 1 : start + inside * k : k]
        else:
            inside = 1
            frames.append(data.make(session, Kind.DATA, sequence, first, store.rows(first, first + k), k))
            times.append(store.time_us(first + k - 1))
        first, count, sequence = first + inside * k, count - inside, sequence + inside
    return times, frames


def _from_block(session: Session, block: Block, start: int, count: int, k: int, sequence: int) -> list[bytes]:
    channels = block.width // 4
    end = start + count * k
    rows = np.zeros(count, dtype=row_type(k, channels))
    rows["version"], rows["kind"], rows["network"] = session.version, Kind.DATA, session.network
    rows["address"], rows["flags"], rows["session"] = session.address, FROM_NODE, session.number
    rows["sequence"] = np.arange(sequence, sequence + count, dtype=np.uint32)
    rows["first"] = np.arange(block.first + start, block.first + end, k, dtype=np.uint64)
    rows["node_t_us"] = block.node_t_us[start:end:k]
    rows["rows"], rows["channels"] = k, channels
    counts = np.frombuffer(block.octets, dtype="<i4").reshape(-1, channels)
    rows["samples"] = counts[start:end].reshape(count, k, channels)
    if block.status is not None:
        joined = np.bitwise_or.reduce(block.status[start:end].reshape(count, k, channels), axis=1)
        rows["status"] = joined
    return cut(seal(session.out.many, rows, body_octets(k, channels)))


def seal(many: Many, rows: NDArray[np.void], octets: int) -> NDArray[np.uint8]:
    """Tag and CRC for each row's first `octets` octets: whole frames, uint8, (rows, octets of a frame)."""
    count = len(rows)
    size = octets + TAG_OCTETS
    flat = rows.view(np.uint8).reshape(count, -1)
    whole = np.empty((count, size + CRC_OCTETS), dtype=np.uint8)
    whole[:, :octets] = flat[:, :octets]
    whole[:, octets:size] = many.tags(flat, octets)[:, :TAG_OCTETS]
    text, step, crc = whole.tobytes(), size + CRC_OCTETS, crc32c
    crcs = [crc(text[at : at + size]) for at in range(0, count * step, step)]
    whole[:, size:] = np.array(crcs, dtype="<u4").view(np.uint8).reshape(count, CRC_OCTETS)
    return whole


def cut(whole: NDArray[np.uint8]) -> list[bytes]:
    """Rows as one bytes object each."""
    text, step = whole.tobytes(), whole.shape[1]
    return [text[at : at + step] for at in range(0, len(text), step)]


def verify(
    session: Session, frames: list[bytes], k: int, channels: int
) -> tuple[NDArray[np.void], NDArray[np.bool_]]:
    """Data frames of one size as records, and which of them are whole, of this session and authentic.

    Every frame has the length that k and channels give.  Replay windows are not looked at.
    """
    count, octets = len(frames), body_octets(k, channels)
    size = octets + TAG_OCTETS + CRC_OCTETS
    crc = crc32c
    sound = np.fromiter((crc(f) == CRC_RESIDUE for f in frames), np.bool_, count)
    octet_rows = np.frombuffer(b"".join(frames), np.uint8).reshape(count, size)
    kind = row_type(k, channels)
    flat = np.zeros((count, kind.itemsize), dtype=np.uint8)
    flat[:, :octets] = octet_rows[:, :octets]
    wanted = session.into.many.tags(flat, octets)[:, :TAG_OCTETS]
    sound &= (wanted == octet_rows[:, octets : octets + TAG_OCTETS]).all(axis=1)
    rows = flat.view(kind).reshape(count)
    for name, value in (
        ("version", session.version), ("kind", Kind.DATA), ("network", session.network),
        ("address", session.address), ("flags", FROM_NODE), ("session", session.number), ("rows", k),
        ("channels", channels),
    ):  # fmt: skip
        sound &= rows[name] == value
    return rows, sound


def take(session: Session, frames: list[bytes], k: int, channels: int) -> list[data.Taken | None]:
    """What data.take gives for each frame of one size, None where it gives a reason."""
    rows, sound = verify(session, frames, k, channels)
    head = data.HEAD.size
    status_end = head + channels
    end = status_end + 4 * k * channels
    window = session.data
    out: list[data.Taken | None] = []
    columns = zip(
        frames, sound.tolist(), rows["sequence"].tolist(), rows["first"].tolist(),
        rows["node_t_us"].tolist(), strict=True,
    )  # fmt: skip
    for frame, good, sequence, first, node_t_us in columns:
        if good and window.fresh(sequence):
            window.take(sequence)
            out.append((first, node_t_us, k, channels, frame[head:status_end], frame[status_end:end]))
        else:
            out.append(None)
    return out
