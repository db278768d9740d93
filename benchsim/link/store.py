"""A node's last samples, in the form in which frames are cut from them."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import ChannelStatus, Counts


class Block:
    """One fed block.  octets: its counts row after row, little-endian, width octets a row.

    t_us, node_t_us: int64, (rows,).

    A node with more channels than wired cells sends 0 and OPEN on the rest.
    """

    __slots__ = ("end", "first", "node_t_us", "octets", "rows", "status", "t_us", "width")

    def __init__(self, block: Counts, channels: int) -> None:
        self.first = block.first
        self.rows = len(block.t_us)
        self.end = block.first + self.rows
        self.width = 4 * channels
        self.octets = _wide(block.counts, channels, 0).astype("<i4").tobytes()
        status = _wide(block.status, channels, int(ChannelStatus.OPEN))
        self.status = status.copy() if status.any() else None
        self.t_us = block.t_us.copy()
        self.node_t_us = block.node_t_us.copy()

    def status_of(self, start: int, end: int) -> bytes:
        """What the channels said in rows start to end, or-ed: one octet each."""
        if self.status is None:
            return bytes(self.width // 4)
        joined: NDArray[np.uint8] = np.bitwise_or.reduce(self.status[start:end], axis=0)
        return joined.tobytes()


def _wide(columns: NDArray[np.generic], channels: int, fill: int) -> NDArray[np.generic]:
    """The same columns, as many as there are channels."""
    rows, there = columns.shape
    if there >= channels:
        return columns[:, :channels]
    wide = np.full((rows, channels), fill, dtype=columns.dtype)
    wide[:, :there] = columns
    return wide


class Store:
    """A node's last samples, sent and still to be sent.  Holds at least `reach` samples before `until`."""

    __slots__ = ("_blocks", "channels", "end", "reach")

    def __init__(self, channels: int, reach: int) -> None:
        self.channels = channels
        self.reach = reach
        self._blocks: deque[Block] = deque()
        self.end = 0

    @property
    def first(self) -> int:
        """The oldest sample that is kept; `end` when there is none."""
        return self._blocks[0].first if self._blocks else self.end

    @property
    def blocks(self) -> deque[Block]:
        return self._blocks

    def feed(self, counts: Counts, sent: int) -> None:
        """Add a block.  sent: the first sample not sent yet; what lies too far before it is let go.

        A block that does not go on where the last one ended starts the store anew: the samples between
        were never taken.
        """
        if not len(counts.t_us):
            return
        if self._blocks and counts.first != self.end:
            self._blocks.clear()
        self._blocks.append(Block(counts, self.channels))
        self.end = self._blocks[-1].end
        blocks = self._blocks
        while blocks[0].end <= min(sent, self.end) - self.reach:
            blocks.popleft()

    def _at(self, sample: int) -> int:
        """Index of the block that holds a sample."""
        blocks = self._blocks
        if blocks[-1].first <= sample:
            return len(blocks) - 1
        return bisect_left(blocks, sample + 1, key=_first_of) - 1

    def block_at(self, sample: int) -> tuple[Block, int]:
        """The block that holds a kept sample, and its row there."""
        block = self._blocks[self._at(sample)]
        return block, sample - block.first

    def time_us(self, sample: int) -> int:
        """When a kept sample was complete."""
        block = self._blocks[self._at(sample)]
        return block.t_us.item(sample - block.first)

    def first_after(self, t_us: int) -> int:
        """The first kept sample that is complete later than t_us; `end` when there is none."""
        for block in self._blocks:
            if block.t_us[-1] > t_us:
                return block.first + int(np.searchsorted(block.t_us, t_us, side="right"))
        return self.end

    def rows(self, first: int, end: int) -> tuple[int, bytes, bytes]:
        """(node time of the first, status octets, sample octets) of kept samples first to end."""
        at = self._at(first)
        block = self._blocks[at]
        start = first - block.first
        node_t_us = block.node_t_us.item(start)
        if end <= block.end:
            octets = block.octets[start * block.width : (end - block.first) * block.width]
            return node_t_us, block.status_of(start, end - block.first), octets
        parts = []
        status = np.zeros(self.channels, dtype=np.uint8)
        while first < end:
            block = self._blocks[at]
            a, b = first - block.first, min(end, block.end) - block.first
            parts.append(block.octets[a * block.width : b * block.width])
            status |= np.frombuffer(block.status_of(a, b), dtype=np.uint8)
            first, at = block.first + b, at + 1
        return node_t_us, status.tobytes(), b"".join(parts)


def _first_of(block: Block) -> int:
    return block.first
