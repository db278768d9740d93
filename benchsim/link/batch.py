"""The same data frames, many at a time: byte for byte what data.py makes and takes one by one.

The layout of a row is made from the declaration in frames.py.  A batch has one session, one k and one
number of channels.  build serves the nodes; verify, columns and take are for those who read many frames at
once (a capture, a recording): the host on the bench hears its frames one by one and does not call them.
"""

from __future__ import annotations

import struct
from functools import cache
from itertools import repeat

import numpy as np
from numpy.typing import NDArray

from benchsim.link import data
from benchsim.link.cmac import Many, lumps
from benchsim.link.codec import crc32c, layout_of
from benchsim.link.frames import FROM_NODE, Data, Header, Kind
from benchsim.link.limits import CRC_OCTETS, CRC_RESIDUE, REPLAY_WINDOW, TAG_OCTETS
from benchsim.link.session import Session
from benchsim.link.store import Block, Store

# Below this many frames, making them one by one is as fast (measured).
WORTH_A_BATCH = 20

# The octets that are the same in all data frames of a batch: all before the sequence, then the shape.
_ALIKE = (slice(0, 8), slice(8, 10), slice(30, 32))
_NUMPY = {"B": "u1", "H": "<u2", "I": "<u4", "Q": "<u8"}


@cache
def row_type(rows: int, channels: int) -> np.dtype[np.void]:
    """A whole data frame as a NumPy record: its fields, with room behind them for tag and CRC."""
    names, formats, offsets, at = [], [], [], 0
    for field in (*layout_of(Header).fields, *layout_of(Data).fields):
        code = field.wire.code
        form = {"status": f"({channels},)u1", "samples": f"({rows},{channels})<i4"}.get(code)
        form = form or _NUMPY[code]
        names.append(field.name)
        formats.append(form)
        offsets.append(at)
        at += np.dtype(form).itemsize
    whole = at + TAG_OCTETS + CRC_OCTETS
    return np.dtype({"names": names, "formats": formats, "offsets": offsets, "itemsize": whole})


def body_octets(rows: int, channels: int) -> int:
    """Header and payload of a data frame."""
    return data.HEAD.size + channels + 4 * rows * channels


def _octets_of(rows: NDArray[np.void]) -> NDArray[np.uint8]:
    """The same memory, octet by octet: (rows, octets of a frame)."""
    return rows.view(np.uint8).reshape(len(rows), rows.itemsize)


def _as_bytes(octets: NDArray[np.uint8]) -> list[bytes]:
    """Rows of octets as one bytes object each."""
    found: list[bytes] = lumps(octets)[:, 0].tolist()
    return found


def _head(session: Session, k: int, channels: int) -> NDArray[np.uint8]:
    """What stands before the samples in all data frames of a session, with 0 where they differ."""
    head = data.HEAD.pack(
        session.version, Kind.DATA, session.network, session.address, FROM_NODE, session.number,
        0, 0, 0, k, channels,
    )  # fmt: skip
    return np.frombuffer(head + bytes(channels), np.uint8)


# -- making --------------------------------------------------------------------------------------------


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
            times += block.t_us[start + k - 1 : start + inside * k : k].tolist()
        else:
            inside = 1
            frames.append(data.make(session, Kind.DATA, sequence, first, store.rows(first, first + k), k))
            times.append(store.time_us(first + k - 1))
        first, count, sequence = first + inside * k, count - inside, sequence + inside
    return times, frames


def _from_block(session: Session, block: Block, start: int, count: int, k: int, sequence: int) -> list[bytes]:
    """count frames from row `start` of a block on, all within it."""
    channels, end = block.width // 4, start + count * k
    rows = np.empty(count, row_type(k, channels))
    octets, samples_at, body = _octets_of(rows), data.HEAD.size + channels, body_octets(k, channels)
    lumps(octets[:, :samples_at])[:] = lumps(_head(session, k, channels))
    rows["sequence"] = np.arange(sequence, sequence + count)
    rows["first"] = np.arange(block.first + start, block.first + end, k)
    rows["node_t_us"] = block.node_t_us[start:end:k]
    if block.status is not None:
        np.bitwise_or.reduce(block.status[start:end].reshape(count, k, channels), axis=1, out=rows["status"])
    samples = np.frombuffer(block.octets, np.uint8, end * block.width)[start * block.width :]
    lumps(octets[:, samples_at:body])[:] = lumps(samples.reshape(count, -1))
    return _seal(session.out.many, octets)


def _seal(many: Many, frames: NDArray[np.uint8]) -> list[bytes]:
    """Whole frames from such that lack only tag and CRC: uint8, (frames, octets of a frame)."""
    content = frames[:, :-CRC_OCTETS]
    body = content.shape[1] - TAG_OCTETS
    lumps(content[:, body:])[:] = lumps(many.tags(content, body)[:, :TAG_OCTETS])
    crcs = struct.pack(f"<{len(frames)}I", *map(crc32c, _as_bytes(content)))
    lumps(frames[:, -CRC_OCTETS:])[:, 0] = np.frombuffer(crcs, (np.void, CRC_OCTETS))
    return _as_bytes(frames)


# -- taking --------------------------------------------------------------------------------------------


def verify(
    session: Session, frames: list[bytes], k: int, channels: int
) -> tuple[NDArray[np.void], NDArray[np.bool_]]:
    """Frames as records, and which of them are whole data frames of this session and authentic.

    Records of frames that are not mean nothing.  Replay windows are not looked at.
    """
    kind, count = row_type(k, channels), len(frames)
    if list(map(len, frames)).count(kind.itemsize) < count:
        frames = [f if len(f) == kind.itemsize else bytes(kind.itemsize) for f in frames]
    rows = np.frombuffer(b"".join(frames), kind)
    octets, body = _octets_of(rows), body_octets(k, channels)
    sound = np.fromiter(map(crc32c, frames), np.uint32, count) == CRC_RESIDUE
    wanted = session.into.many.tags(octets, body)[:, :TAG_OCTETS]
    sound &= _alike(octets[:, body : body + TAG_OCTETS], wanted)
    head = _head(session, k, channels)
    for part in _ALIKE:
        sound &= _alike(octets[:, part], head[part])
    return rows, sound


def _alike(these: NDArray[np.uint8], those: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Which rows are the same octets: 1, 2, 4 or 8 of them, compared as one number."""
    number = f"u{these.shape[1]}"
    same: NDArray[np.bool_] = these.view(number)[:, 0] == those.view(number)[..., 0]
    return same


def columns(
    session: Session, frames: list[bytes], k: int, channels: int
) -> tuple[NDArray[np.void], NDArray[np.bool_]]:
    """What verify gives, without what was taken before: what is sound and new is used up."""
    rows, sound = verify(session, frames, k, channels)
    window, numbers = session.data, rows["sequence"][sound]
    if len(numbers) and int(numbers[0]) > window.highest and (numbers[1:] > numbers[:-1]).all():
        for number in numbers[-REPLAY_WINDOW:].tolist():  # what lies before them leaves the window
            window.take(number)
        return rows, sound
    fresh = []
    for number in numbers.tolist():
        fresh.append(window.fresh(number))
        if fresh[-1]:
            window.take(number)
    sound[sound] = fresh
    return rows, sound


def take(session: Session, frames: list[bytes], k: int, channels: int) -> list[data.Taken | None]:
    """What data.take gives for each frame, None where it gives a reason or the kind or length is another."""
    rows, taken = columns(session, frames, k, channels)
    octets, head, body = _octets_of(rows), data.HEAD.size, body_octets(k, channels)
    found: list[data.Taken | None] = list(zip(
        rows["first"].tolist(), rows["node_t_us"].tolist(), repeat(k), repeat(channels),
        _as_bytes(octets[:, head : head + channels]), _as_bytes(octets[:, head + channels : body]),
    ))  # fmt: skip
    for at in np.flatnonzero(~taken).tolist():
        found[at] = None
    return found
