"""What keeps data whole: replay windows, the host's list of gaps, the node's store of samples.

Every sample number goes through Gaps once: it is taken when it is new or lacking, and never twice.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import Counts
from benchsim.link.limits import (
    AGAIN_GRACE_US,
    AGAIN_RETRY_US,
    AGAIN_TRIES,
    MAX_GAPS,
    MAX_RANGES,
    REPLAY_WINDOW,
)  # fmt: skip

_MASK = (1 << REPLAY_WINDOW) - 1


class Window:
    """Which sequence numbers of one lane were seen.  Anything older than the window counts as seen."""

    __slots__ = ("_seen", "highest")

    def __init__(self) -> None:
        self.highest = -1
        self._seen = 0

    def fresh(self, sequence: int) -> bool:
        """Whether a number was never taken and is not too old to know."""
        ahead = sequence - self.highest
        if ahead > 0:
            return True
        return -ahead < REPLAY_WINDOW and not self._seen >> -ahead & 1

    def take(self, sequence: int) -> None:
        """Mark a number as seen, after its tag was found right."""
        ahead = sequence - self.highest
        if ahead > 0:
            self._seen = (self._seen << ahead | 1) & _MASK if ahead < REPLAY_WINDOW else 1
            self.highest = sequence
        else:
            self._seen |= 1 << -ahead


@dataclass(slots=True)
class Gap:
    """Samples first to end (exclusive) that are lacking."""

    first: int
    end: int
    ask_us: int
    asked: int = 0


class Gaps:
    """Which samples of a node the host has, as far as it must know: the next one, and what lacks before it.

    reach: how many samples back the node can send again.
    """

    __slots__ = ("gaps", "given_up", "next", "reach")

    def __init__(self, next_sample: int, reach: int) -> None:
        self.next = next_sample
        self.reach = reach
        self.gaps: list[Gap] = []
        self.given_up = 0

    def take(self, first: int, rows: int, now_us: int) -> bool:
        """Whether these samples are wanted; if so they are had from now on."""
        if first == self.next:
            self.next = first + rows
            return True
        if first > self.next:
            self.expect(first, now_us)
            self.next = first + rows
            return True
        return self._fill(first, first + rows, now_us)

    def expect(self, first: int, now_us: int) -> None:
        """The node has sent all before `first`: what is not here by then is a gap."""
        if first <= self.next:
            return
        self.gaps.append(Gap(self.next, first, now_us + AGAIN_GRACE_US))
        self.next = first
        if len(self.gaps) > MAX_GAPS:
            lost = self.gaps.pop(0)
            self.given_up += lost.end - lost.first

    def _fill(self, first: int, end: int, now_us: int) -> bool:
        for index, gap in enumerate(self.gaps):
            if gap.first <= first and end <= gap.end:
                ask_us = now_us + AGAIN_RETRY_US if gap.asked else gap.ask_us
                left = ((gap.first, first), (end, gap.end))
                parts = [Gap(a, b, ask_us, min(gap.asked, 1)) for a, b in left if a < b]
                self.gaps[index : index + 1] = parts
                for other in self.gaps:  # an answer is on its way: leave it time
                    if other.asked:
                        other.ask_us = max(other.ask_us, ask_us)
                return True
        return False

    def gone(self, first: int, end: int) -> None:
        """The node no longer has these: give them up."""
        kept: list[Gap] = []
        for gap in self.gaps:
            for a, b in ((gap.first, min(gap.end, first)), (max(gap.first, end), gap.end)):
                if a < b:
                    kept.append(Gap(a, b, gap.ask_us, gap.asked))
        self.given_up += sum(g.end - g.first for g in self.gaps) - sum(g.end - g.first for g in kept)
        self.gaps = kept

    def due_us(self) -> int | None:
        """When something is to be asked for next."""
        return min((g.ask_us for g in self.gaps), default=None)

    def ask(self, now_us: int) -> tuple[tuple[int, int], ...]:
        """Ranges (first, count) to ask for now; () when nothing is due.  Asks for all that lacks at once."""
        self.gone(0, self.next - self.reach)
        tired = [g for g in self.gaps if g.asked >= AGAIN_TRIES and g.ask_us <= now_us]
        for gap in tired:
            self.gaps.remove(gap)
            self.given_up += gap.end - gap.first
        if not any(g.ask_us <= now_us for g in self.gaps):
            return ()
        listed = self.gaps[:MAX_RANGES]
        for gap in self.gaps:
            gap.ask_us = now_us + AGAIN_RETRY_US
        for gap in listed:
            gap.asked += 1
        return tuple((g.first, min(g.end - g.first, 0xFFFF)) for g in listed)


class Block:
    """One fed block of samples, in the form in which frames are cut from it."""

    __slots__ = ("counts", "end", "first", "node_t_us", "octets", "status", "t_us", "width")

    def __init__(self, block: Counts) -> None:
        self.first = block.first
        self.end = block.first + len(block.t_us)
        self.counts = np.ascontiguousarray(block.counts, dtype="<i4")
        self.octets = self.counts.tobytes()
        self.width = 4 * block.counts.shape[1]
        self.status = block.status if block.status.any() else None
        self.t_us: list[int] = block.t_us.tolist()
        self.node_t_us: list[int] = block.node_t_us.tolist()


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
        self._blocks.append(Block(counts))
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

    def time_us(self, sample: int) -> int:
        """When a kept sample was complete."""
        block = self._blocks[self._at(sample)]
        return block.t_us[sample - block.first]

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
        node_t_us = block.node_t_us[start]
        if end <= block.end:
            octets = block.octets[start * block.width : (end - block.first) * block.width]
            return node_t_us, _status(block, start, end - block.first, self.channels), octets
        parts = []
        status = np.zeros(self.channels, dtype=np.uint8)
        while first < end:
            block = self._blocks[at]
            a, b = first - block.first, min(end, block.end) - block.first
            parts.append(block.octets[a * block.width : b * block.width])
            status |= np.frombuffer(_status(block, a, b, self.channels), dtype=np.uint8)
            first, at = block.first + b, at + 1
        return node_t_us, status.tobytes(), b"".join(parts)


def _first_of(block: Block) -> int:
    return block.first


def _status(block: Block, start: int, end: int, channels: int) -> bytes:
    if block.status is None:
        return bytes(channels)
    joined: NDArray[np.uint8] = np.bitwise_or.reduce(block.status[start:end], axis=0)
    return joined.tobytes()
