"""What happens on the bench, as lines for a person: bench time, and one event in words.

Reads the trace and the deck, changes neither.  Clients and their answers are told where they come and go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from benchsim.bench.plan import Scheduled
from benchsim.ground.commands import Drive
from benchsim.ground.readings import Event, LinkState
from benchsim.serve.lines import Line

OVER = "the timeline is over; the scale goes on as it stands"
TOLD_ELSEWHERE = ("client", "answer")
BROKEN = ("failed", "lost")
_STEPS = {"seek": "pairing", "prove": "pairing", "offer": "pairing"}


class Record(Protocol):
    """As much of a trace as is told."""

    events: list[Event]
    link_states: list[tuple[int, LinkState]]
    events_gone: int
    link_states_gone: int


class Watched(Protocol):
    """As much of a bench as is looked at."""

    @property
    def now_us(self) -> int: ...
    @property
    def trace(self) -> Record: ...
    @property
    def loads(self) -> tuple[str, ...]: ...


class Narrator:
    """Tells what is new since it was last asked.

    timeline: of the scenario, to tell when it is over.  hides_faults: leave out faults as they begin and end,
    for somebody who is to find them.
    """

    def __init__(
        self, bench: Watched, timeline: Sequence[Scheduled] = (), hides_faults: bool = False
    ) -> None:
        self._bench = bench
        self._hides_faults = hides_faults
        self._events = self._states = 0  # how many were told, of all that there ever were
        self._links: dict[int, str] = {}
        self._loads: tuple[str, ...] = ()
        self._last_us = max((item.t_us for item in timeline), default=-1)
        drives = (item.command for item in timeline if isinstance(item.command, Drive))
        self._vehicles = {d.name for d in drives if d.stands_us is not None}
        self._over = not timeline

    def news(self) -> list[Line]:
        """The lines since last time, in order."""
        trace = self._bench.trace
        events = trace.events[max(0, self._events - trace.events_gone) :]
        states = trace.link_states[max(0, self._states - trace.link_states_gone) :]
        self._events = trace.events_gone + len(trace.events)
        self._states = trace.link_states_gone + len(trace.link_states)
        lines = [*self._happened(events), *self._linked(states)]
        lines.sort(key=lambda line: line.t_us)
        return [*lines, *self._left(events), *self._ended()]

    def _happened(self, events: Sequence[Event]) -> Iterator[Line]:
        for event in events:
            if event.kind in TOLD_ELSEWHERE or (event.kind == "fault" and self._hides_faults):
                continue
            outcome = "" if event.done and event.kind != "command" else " done" if event.done else " refused"
            text = event.text if event.kind == "node" else f"{event.kind}{outcome}: {event.text}"
            yield Line(event.t_us, event.kind, event.subject, text, event.done)

    def _linked(self, states: Sequence[tuple[int, LinkState]]) -> Iterator[Line]:
        for t_us, state in states:
            text = state_text(state)
            if self._links.get(state.address) != text:
                self._links[state.address] = text
                node = f"node {state.address}"
                yield Line(t_us, "link", node, f"{node}: {text}", state.step not in BROKEN)

    def _left(self, events: Sequence[Event]) -> Iterator[Line]:
        """Vehicles leave by themselves; what was taken off is told as an event."""
        now = self._bench.loads
        told = {event.subject for event in events if event.kind == "load"}
        for name in self._loads:
            if name not in now and name not in told:
                yield Line(self._bench.now_us, "load", name, f"load: {name} has left the receptor")
        self._loads = now

    def _ended(self) -> Iterator[Line]:
        if self._over or self._bench.now_us < self._last_us or self._vehicles & set(self._loads):
            return
        self._over = True
        yield Line(self._bench.now_us, "bench", "timeline", OVER)


def state_text(state: LinkState) -> str:
    """An address's state in a few words: "flow", "failed: wrong key (serial 00000000000003E9)"."""
    if state.step in _STEPS:
        return _STEPS[state.step]
    text = state.reason if state.reason.startswith(state.step) else state.step
    if state.reason and text == state.step:
        text = f"{state.step}: {state.reason}"
    return f"{text} ({state.detail})" if state.detail else text
