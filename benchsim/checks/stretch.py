"""The part of a run that a check is about: its times and anchors worked out against a trace."""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchsim.checks.sentence import Moment, When
from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput
from benchsim.record.trace import Trace


@dataclass(frozen=True, slots=True)
class Stretch:
    """end_us: cut off at the run's end.  asked_us: the end as the check has it."""

    start_us: int
    end_us: int
    asked_us: int


def resolve(when: When, trace: Trace) -> Stretch:
    """When a check looks.  For `at` outside the run the stretch is empty (its end before its start).

    Raises BadInput: a fault that never began or ended, a stretch that runs backwards.
    """
    start_us, last_us = _time(when.start, trace), last_told_us(trace)
    if when.kind == "at":
        return Stretch(start_us, start_us if start_us <= last_us else start_us - 1, start_us)
    asked_us = start_us + when.for_us if when.kind == "within" else _end(when, start_us, trace)
    return Stretch(start_us, min(asked_us, last_us), asked_us)


def last_told_us(trace: Trace) -> int:
    """Up to when a trace can tell: to the end that the bench gave, else one update after the last."""
    if trace.ended_us is not None or len(trace) < 2:
        return trace.last_us()
    times = trace.columns().t_us
    return max(trace.last_us(), int(2 * times[-1] - times[-2]))


def _end(when: When, start_us: int, trace: Trace) -> int:
    acts_whole = (when.start.anchor, when.end.anchor) == ("start", "end")
    if acts_whole and when.start.fault == when.end.fault:
        ended = _fault_time("end", when.end.fault, start_us, trace)
        return trace.last_us() if ended is None else ended
    end_us = _time(when.end, trace)
    if end_us < start_us and when.end.anchor != "the end":
        raise BadInput(f"the stretch from {seconds(start_us)} to {seconds(end_us)} runs backwards")
    return end_us


def _time(moment: Moment, trace: Trace) -> int:
    if not moment.anchor:
        return moment.t_us
    if moment.anchor == "the end":
        return trace.last_us()
    time = _fault_time(moment.anchor, moment.fault, 0, trace)
    if time is None:
        began = "began" if moment.anchor == "start" else "ended"
        raise BadInput(f"the fault {moment.fault} never {began} in this run")
    return time


def _fault_time(anchor: str, fault: str, from_us: int, trace: Trace) -> int | None:
    """When a fault (by its own name or the catalogue's) first began or ended at or after a time."""
    faults = [e for e in trace.events if e.kind == "fault" and e.done]
    named = re.compile(rf"start {re.escape(fault)}(?![\w-])")
    keys = {e.subject for e in faults if named.match(e.text)} | {fault}
    begun = "start " if anchor == "start" else "end "
    times = (e.t_us for e in faults if e.subject in keys and e.text.startswith(begun))
    return next((t for t in times if t >= from_us), None)
