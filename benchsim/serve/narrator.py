"""What happens on the bench, as lines for a person: bench time, and one event in words.

Reads the trace and the deck, changes neither.  Clients and their answers are told where they come and go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from benchsim.bench.plan import Scheduled
from benchsim.ground.commands import Drive
from benchsim.ground.readings import Event, LinkState

OVER = "the timeline is over; the scale goes on as it stands"
TOLD_ELSEWHERE = ("client", "answer")
_STEPS = {"seek": "pairing", "prove": "pairing"}


class Record(Protocol):
    """As much of a trace as is told."""

    events: list[Event]
    link_states: list[tuple[int, LinkState]]


class Watched(Protocol):
    """As much of a bench as is looked at."""

    @property
    def now_us(self) -> int: ...
    @property
    def trace(self) -> Record: ...
    @property
    def loads(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class Line:
    """t_us: bench time.  text: what happened."""

    t_us: int
    text: str

    def __str__(self) -> str:
        return at(self.t_us, self.text)


def at(t_us: int, text: str) -> str:
    """A line with its bench time in front."""
    return f"{f'{t_us / 1e6:.3f} s':<11} {text}"


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
        self._events = self._states = 0  # how many were told
        self._links: dict[int, str] = {}
        self._loads: tuple[str, ...] = ()
        self._last_us = max((item.t_us for item in timeline), default=-1)
        drives = (item.command for item in timeline if isinstance(item.command, Drive))
        self._vehicles = {d.name for d in drives if d.stands_us is not None}
        self._over = not timeline

    def news(self) -> list[Line]:
        """The lines since last time, in order."""
        events = self._bench.trace.events[self._events :]
        states = self._bench.trace.link_states[self._states :]
        self._events += len(events)
        self._states += len(states)
        lines = [*self._happened(events), *self._linked(states)]
        lines.sort(key=lambda line: line.t_us)
        return [*lines, *self._left(events), *self._ended()]

    def _happened(self, events: Sequence[Event]) -> Iterator[Line]:
        for event in events:
            if event.kind in TOLD_ELSEWHERE or (event.kind == "fault" and self._hides_faults):
                continue
            outcome = "" if event.done and event.kind != "command" else " done" if event.done else " refused"
            yield Line(event.t_us, f"{event.kind}{outcome}: {event.text}")

    def _linked(self, states: Sequence[tuple[int, LinkState]]) -> Iterator[Line]:
        for t_us, state in states:
            text = state_text(state)
            if self._links.get(state.address) != text:
                self._links[state.address] = text
                yield Line(t_us, f"node {state.address}: {text}")

    def _left(self, events: Sequence[Event]) -> Iterator[Line]:
        """Vehicles leave by themselves; what was taken off is told as an event."""
        now = self._bench.loads
        told = {event.subject for event in events if event.kind == "load"}
        for name in self._loads:
            if name not in now and name not in told:
                yield Line(self._bench.now_us, f"load: {name} has left the receptor")
        self._loads = now

    def _ended(self) -> Iterator[Line]:
        if self._over or self._bench.now_us < self._last_us or self._vehicles & set(self._loads):
            return
        self._over = True
        yield Line(self._bench.now_us, OVER)


def state_text(state: LinkState) -> str:
    """An address's state in a few words: "flow", "failed: wrong key (serial 00000000000003E9)"."""
    if state.step in _STEPS:
        return _STEPS[state.step]
    text = state.reason if state.reason.startswith(state.step) else state.step
    if state.reason and text == state.step:
        text = f"{state.step}: {state.reason}"
    return f"{text} ({state.detail})" if state.detail else text
