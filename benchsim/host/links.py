"""Which nodes flow, as the link said and when: a scale with one node away has no weight."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from operator import attrgetter

from benchsim.ground.readings import LinkState
from benchsim.host.indication import NOT_PAIRED

_NOT_COMING = (1 << 62) - 1
_since = attrgetter("since_us")
_WORDS = {
    "idle": NOT_PAIRED,
    "seek": "not paired yet",
    "prove": "not paired yet",
    "lost": "lost",
    "failed": "pairing failed",
    "released": "released",
}


class Links:
    """broken: why there is no weight, "" when every node flows.

    flows_since_us, newcomer: when the last one began, and which it is.
    """

    __slots__ = ("_addresses", "_coming", "_now", "broken", "coming_us", "flows_since_us", "newcomer")

    def __init__(self, addresses: Sequence[int]) -> None:
        self._addresses = addresses
        self._now: dict[int, LinkState] = {}
        self._coming: list[LinkState] = []
        self.coming_us = _NOT_COMING
        self.flows_since_us = self.newcomer = 0
        self.broken = NOT_PAIRED

    def add(self, state: LinkState) -> None:
        """A state to be taken over at its own time."""
        self._coming.insert(bisect_right(self._coming, state.since_us, key=_since), state)
        self.coming_us = self._coming[0].since_us

    def reach(self, t_us: int) -> None:
        """Take over every state up to t_us."""
        count = bisect_right(self._coming, t_us, key=_since)
        for state in self._coming[:count]:
            before = self._now.get(state.address)
            self._now[state.address] = state
            begins = state.step == "flow" and (before is None or before.step != "flow")
            if begins and state.since_us >= self.flows_since_us:
                self.flows_since_us, self.newcomer = state.since_us, state.address
        del self._coming[:count]
        self.coming_us = self._coming[0].since_us if self._coming else _NOT_COMING
        self.broken = self._why()

    def _why(self) -> str:
        if not self._now or all(state.step == "idle" for state in self._now.values()):
            return NOT_PAIRED
        for address in self._addresses:
            state = self._now.get(address)
            if state is None:
                return f"node {address}: {NOT_PAIRED}"
            if state.step != "flow":
                return f"node {address}: {state.reason or _WORDS.get(state.step, state.step)}"
        return ""
