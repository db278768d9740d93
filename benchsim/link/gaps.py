"""What the host keeps of a flow: replay windows, and which samples it has.

Every sample number goes through Gaps once: it is taken when it is new or lacking, and never twice.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.link.limits import (
    AGAIN_GRACE_US,
    AGAIN_RETRY_US,
    AGAIN_TRIES,
    MAX_GAPS,
    MAX_RANGES,
    REPLAY_WINDOW,
)

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
        self._bound()

    def _bound(self) -> None:
        """The oldest gaps are given up when there are too many."""
        while len(self.gaps) > MAX_GAPS:
            lost = self.gaps.pop(0)
            self.given_up += lost.end - lost.first

    def _fill(self, first: int, end: int, now_us: int) -> bool:
        for index, gap in enumerate(self.gaps):
            if gap.first <= first and end <= gap.end:
                ask_us = now_us + AGAIN_RETRY_US if gap.asked else gap.ask_us
                left = ((gap.first, first), (end, gap.end))
                parts = [Gap(a, b, ask_us, min(gap.asked, 1)) for a, b in left if a < b]
                self.gaps[index : index + 1] = parts
                self._bound()
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
        self._bound()

    def due_us(self) -> int | None:
        """When something is to be asked for next."""
        return min((g.ask_us for g in self.gaps), default=None)

    def ask(self, now_us: int) -> tuple[tuple[int, int], ...]:
        """Ranges (first, count) to ask for now; () when nothing is due.  Asks for all that lacks at once.

        A gap that is named only because another is due was not left unanswered: that is no try of its own.
        """
        self.gone(0, self.next - self.reach)
        tired = [g for g in self.gaps if g.asked >= AGAIN_TRIES and g.ask_us <= now_us]
        for gap in tired:
            self.gaps.remove(gap)
            self.given_up += gap.end - gap.first
        if not any(g.ask_us <= now_us for g in self.gaps):
            return ()
        listed = self.gaps[:MAX_RANGES]
        for gap in listed:
            if gap.ask_us <= now_us or not gap.asked:
                gap.asked += 1
        for gap in self.gaps:
            gap.ask_us = now_us + AGAIN_RETRY_US
        return tuple((g.first, min(g.end - g.first, 0xFFFF)) for g in listed)
