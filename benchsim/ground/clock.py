"""Time is an integer of microseconds; one queue holds what happens, in exact order; nothing sleeps.

Two things due at one instant happen by rank, and those of one rank in the order in which they were put
in.  Who shares a queue gives each party its rank, so that the order hangs on who acts and not on when
somebody looked ahead.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable

SECOND_US = 1_000_000

Action = Callable[[int], None]


class Queue:
    """What will happen, by time, rank and running number.  An action is called with its due time."""

    __slots__ = ("_heap", "_number", "now_us")

    def __init__(self) -> None:
        self.now_us = 0
        self._heap: list[tuple[int, int, int, Action]] = []
        self._number = 0

    def put(self, due_us: int, action: Action, rank: int = 0) -> None:
        """Add an action.  A due time in the past is taken as now: time never runs backwards."""
        self._number += 1
        if due_us < self.now_us:
            due_us = self.now_us
        heapq.heappush(self._heap, (due_us, rank, self._number, action))

    def next_us(self) -> int | None:
        """When the next action is due; None when nothing is left."""
        return self._heap[0][0] if self._heap else None

    def step(self) -> None:
        """Do the next action."""
        self.now_us, _, _, action = heapq.heappop(self._heap)
        action(self.now_us)

    def run(self, until_us: int) -> None:
        """Do all that is due up to and at until_us, and stand there."""
        heap = self._heap
        pop = heapq.heappop
        while heap and heap[0][0] <= until_us:
            self.now_us, _, _, action = pop(heap)
            action(self.now_us)
        self.now_us = max(self.now_us, until_us)


def seconds(t_us: int) -> str:
    """A time as text, in seconds, exact: "12.5 s"."""
    whole, rest = divmod(abs(t_us), SECOND_US)
    text = f"{whole}.{rest:06d}".rstrip("0").rstrip(".")
    return f"{'-' if t_us < 0 else ''}{text} s"
