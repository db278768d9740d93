"""Frames of the link as a column block: each as it set out, and what of it arrived, and when.

Bytes in, values out.  What is written down went over the link: whoever stands between the ends sees the same,
and no key is ever among it.  Layout: protocols/recording/.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import repeat
from typing import Any

import numpy as np
from numpy.typing import NDArray

Carried = tuple[int, int, bytes, Sequence[tuple[int, bytes]]]
"""A frame on its way: the way's number, when it set out, its octets, and (time, octets) of all that arrives.

Ways count from 0: of the node at index i, 2 i leads to the host and 2 i + 1 to the node.  What arrives in its
place (a damaged frame, an older one, another network's) counts as well; nothing at all: it was lost.
"""

ENCODING = "x-benchsim-frames"
FRAME_COLUMNS = ("way", "t_us", "octets", "arrivals")
ARRIVAL_COLUMNS = ("later_us", "octets")
AS_IT_SET_OUT = -1
"""In the place of the number of octets: those of the frame that set out."""

_HEAD = struct.Struct("<II")


def layout() -> dict[str, Any]:
    """The layout of a block, for programs that read one without knowing the page."""
    return {
        "header": [{"name": "frames", "type": "<u4"}, {"name": "arrivals", "type": "<u4"}],
        "frames": [{"name": name, "type": "<i8"} for name in FRAME_COLUMNS],
        "arrivals": [{"name": name, "type": "<i8"} for name in ARRIVAL_COLUMNS],
        "octets": ["of the frames", "of the arrivals that are not as they set out"],
        "each": "differences to the row before, byte planes; octets by length, shortest first",
    }


def way_to_host(index: int) -> int:
    """The way from the node at this index of the plan, from 0."""
    return 2 * index


def way_to_node(index: int) -> int:
    """The way to the node at this index of the plan, from 0."""
    return 2 * index + 1


def sent_us(carried: Carried) -> int:
    """When it set out."""
    return carried[1]


# -- writing -------------------------------------------------------------------------------------------


def encode_frames(rows: Sequence[Carried]) -> bytes:
    """A block of frames, in the order in which they set out."""
    frames = [(way, t_us, len(frame), len(arrivals)) for way, t_us, frame, arrivals in rows]
    arrivals, others = [], []
    for _, t_us, frame, arrived in rows:
        for at_us, octets in arrived:
            as_it_set_out = octets == frame
            arrivals.append((at_us - t_us, AS_IT_SET_OUT if as_it_set_out else len(octets)))
            if not as_it_set_out:
                others.append(octets)
    heard = np.array(arrivals, "<i8").reshape(-1, len(ARRIVAL_COLUMNS))
    np.maximum(heard[:, 0], 0, out=heard[:, 0])
    return b"".join(
        (
            _HEAD.pack(len(frames), len(arrivals)),
            _planes(np.array(frames, "<i8").reshape(-1, len(FRAME_COLUMNS))),
            _planes(heard),
            *_by_length([frame for _, _, frame, _ in rows]),
            *_by_length(others),
        )
    )


def _planes(table: NDArray[Any]) -> bytes:
    """Differences from row to row, then all lowest octets of the first column, its second ones, and so on.

    Figures that hardly change, and those that step evenly, become runs that any compressor takes away.
    """
    steps = table.copy()
    steps[1:] -= table[:-1]
    return steps.view(np.uint8).reshape(len(table), -1).T.tobytes() if table.size else b""


def _by_length(octets: Sequence[bytes]) -> Iterator[bytes]:
    by_length: dict[int, list[bytes]] = {}
    for one in octets:
        by_length.setdefault(len(one), []).append(one)
    for length in sorted(by_length):
        table = np.frombuffer(b"".join(by_length[length]), np.uint8)
        yield _planes(table.reshape(-1, length)) if length else b""


# -- reading -------------------------------------------------------------------------------------------


def decode_frames(data: bytes, ways: int) -> list[Carried]:
    """The frames of a block.  ways: how many there are.  Raises ValueError for a block that cannot be."""
    if len(data) < _HEAD.size:
        raise ValueError(f"a block of {len(data)} octets")
    source = _Source(data, _HEAD.size)
    count, arrived = _HEAD.unpack_from(data)
    frames = source.table(count, len(FRAME_COLUMNS))
    arrivals = source.table(arrived, len(ARRIVAL_COLUMNS))
    _check(frames, arrivals, ways, len(data))
    sent = source.octets(frames[:, 2].tolist())
    heard = arrivals[:, 1]
    others = iter(source.octets(heard[heard != AS_IT_SET_OUT].tolist()))
    if source.at != len(data):
        raise ValueError(f"a block of {len(data)} octets where its figures need {source.at}")
    coming = iter(arrivals.tolist())
    rows: list[Carried] = []
    for (way, t_us, _, several), frame in zip(frames.tolist(), sent, strict=True):
        came = [next(coming) for _ in range(several)]
        rows.append(
            (
                way,
                t_us,
                frame,
                [(t_us + later, frame if n == AS_IT_SET_OUT else next(others)) for later, n in came],
            )
        )
    return rows


def _check(frames: NDArray[np.int64], arrivals: NDArray[np.int64], ways: int, size: int) -> None:
    """Raises ValueError for figures that no run has; afterwards none can lead outside the block."""
    way, t_us, octets, several = frames.T
    later_us, heard = arrivals.T
    wrong = (
        ((way < 0) | (way >= ways)).any()
        or (t_us < 0).any()
        or (np.diff(t_us) < 0).any()
        or ((octets < 0) | (octets > size)).any()
        or ((several < 0) | (several > len(arrivals))).any()
        or int(several.sum()) != len(arrivals)
        or ((later_us < 0) | (later_us > np.iinfo(np.int64).max // 2)).any()
        or ((heard < AS_IT_SET_OUT) | (heard > size)).any()
    )
    if wrong:
        raise ValueError("a block of frames whose figures cannot be")


class _Source:
    """A block being read.  at: up to where."""

    __slots__ = ("_data", "at")

    def __init__(self, data: bytes, at: int) -> None:
        self._data, self.at = data, at

    def table(self, rows: int, columns: int) -> NDArray[np.int64]:
        """(rows, columns) whole numbers."""
        numbers = np.ascontiguousarray(self._unplaned(rows, 8 * columns)).view("<i8")
        return np.cumsum(numbers.reshape(rows, columns), axis=0, dtype=np.int64)

    def octets(self, lengths: list[int]) -> list[bytes]:
        """Octets in the order of these lengths."""
        found: dict[int, Iterator[bytes]] = {0: repeat(b"")}
        for length, rows in sorted(Counter(lengths).items()):
            if length:
                found[length] = self._rows(rows, length)
        return [next(found[length]) for length in lengths]

    def _rows(self, rows: int, octets: int) -> Iterator[bytes]:
        table = np.cumsum(self._unplaned(rows, octets), axis=0, dtype=np.uint8).tobytes()
        return (table[at : at + octets] for at in range(0, len(table), octets))

    def _unplaned(self, rows: int, octets: int) -> NDArray[np.uint8]:
        """(rows, octets) as they were before they were laid out in planes, still differences."""
        planes = np.frombuffer(self._data, np.uint8, rows * octets, self.at)
        self.at += rows * octets
        return planes.reshape(octets, rows).T
