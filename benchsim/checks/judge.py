"""A check and a trace to a verdict: held or not, at which exact instant, what was expected, what was found.

Nothing passes because there was nothing to look at: a time outside the run, a stretch without an update,
a weight that was never shown, a `while` that was never met all fail and say so (a `never` with no
happening, or whose `while` was never met, is kept).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.checks import explain
from benchsim.checks.sentence import Check
from benchsim.checks.signals import Instants, Look, Seen
from benchsim.checks.statements import AnswerIs, CommandIs, NodeIs, State
from benchsim.checks.stretch import last_told_us, resolve
from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event
from benchsim.record.trace import Trace
from benchsim.rules.profile import Profile


@dataclass(frozen=True, slots=True)
class Verdict:
    """name: the check's.  at_us: the instant that decided it, None when no single one did."""

    name: str
    passed: bool
    at_us: int | None
    expected: str
    found: str


def judge(check: Check, trace: Trace, profile: Profile) -> Verdict:
    """Whether a run kept a check.  What cannot be judged (a cell that is not there) is a failed verdict."""
    try:
        return _Case(check, trace, profile).verdict()
    except BadInput as error:
        return Verdict(check.name, False, None, check.statement.text, str(error))


class _Case:
    """One check on one trace."""

    def __init__(self, check: Check, trace: Trace, profile: Profile) -> None:
        self.check, self.trace, self.look = check, trace, Look(trace, profile)
        self.stretch = resolve(check.when, trace)

    def verdict(self) -> Verdict:
        stretch, check = self.stretch, self.check
        if stretch.start_us > stretch.end_us:
            run = f"the run ends at {seconds(self.trace.last_us())}"
            return self._fail(None, f"nothing: {seconds(stretch.start_us)} is outside the run ({run})")
        if isinstance(check.statement, CommandIs | AnswerIs):
            return self._happenings(check.statement)
        if check.when.kind == "at":
            return self._at(check.statement)
        return self._over(check.statement)

    # -- states --------------------------------------------------------------------------------------

    def _at(self, state: State) -> Verdict:
        t_us = self.stretch.start_us
        instant = np.array([t_us], np.int64)
        seen, met = self.look.see(state, instant), self._met(instant)
        if not met[0]:
            return self._fail(t_us, f"nothing to judge: {self._unmet(t_us)}", t_us)
        passed = bool(seen.holds[0] and seen.defined[0])
        return self._verdict(passed, t_us, explain.found(self.look, state, t_us), t_us)

    def _over(self, state: State) -> Verdict:
        start_us, end_us = self.stretch.start_us, self.stretch.end_us
        manner = self.check.manner.kind
        if manner == "lasting":
            end_us = last_told_us(self.trace)
        instants = self._instants(state, start_us, end_us)
        seen, met = self.look.see(state, instants), self._met(instants)
        holds = seen.holds & seen.defined & met
        if not len(instants) or not seen.defined.any():
            return self._nothing(state, instants)
        if manner == "always":
            return self._none_of(state, instants, seen.defined & met & ~seen.holds, seen, met)
        if manner == "never":
            return self._none_of(state, instants, holds, seen, met)
        if self.check.count:
            return self._counted(instants[_begins(holds)])
        if manner in ("lasting", "brief"):
            return self._lasting(state, instants, holds)
        return self._once(state, instants, holds)

    def _instants(self, state: State, start_us: int, end_us: int) -> Instants:
        instants = self.look.instants(state, start_us, end_us)
        conditions = self.check.conditions
        if not any(isinstance(s, NodeIs) for s in (state, *conditions)):
            return instants
        for condition in conditions:
            instants = np.union1d(instants, self.look.instants(condition, start_us, end_us))
        return instants

    def _met(self, instants: Instants) -> NDArray[np.bool_]:
        """Where the `while` of the check is met."""
        met = np.ones(len(instants), np.bool_)
        for condition in self.check.conditions:
            seen = self.look.see(condition, instants)
            met &= seen.holds & seen.defined
        return met

    def _nothing(self, state: State, instants: Instants) -> Verdict:
        where = f"from {seconds(self.stretch.start_us)} to {seconds(self.stretch.end_us)}"
        if not len(instants):
            return self._fail(None, f"nothing to judge: no indication {where}")
        t_us = int(instants[-1])
        return self._fail(t_us, f"nothing to judge {where}: {explain.found(self.look, state, t_us)}", t_us)

    def _none_of(
        self, state: State, instants: Instants, wrong: NDArray[np.bool_], seen: Seen, met: NDArray[np.bool_]
    ) -> Verdict:
        """The verdict of always and never: no instant may be wrong."""
        if wrong.any():
            t_us = int(instants[np.argmax(wrong)])
            more = int(wrong.sum()) - 1
            tail = f" (and {times(more, 'more ')} up to {seconds(int(instants[wrong][-1]))})" if more else ""
            return self._fail(t_us, f"{explain.found(self.look, state, t_us)} at {seconds(t_us)}{tail}", t_us)
        judged = seen.defined & met
        if not judged.any() and self.check.manner.kind == "always":
            return self._fail(None, f"nothing to judge: {self._unmet(None)}")
        if self._cut():
            return self._fail(None, self._cut())
        if not judged.any():
            return self._pass(None, f"kept: {self._unmet(None)}")
        number, all_of_them = int(judged.sum()), int(met.sum())
        word = ("moment" if isinstance(state, NodeIs) else "update") + ("" if all_of_them == 1 else "s")
        share = f"all {number}" if number == all_of_them else f"{number} of {all_of_them}"
        rest = "" if number == all_of_them else ", the others gave nothing to judge"
        spread = explain.spread(self.look, state, judged, instants)
        return self._pass(None, f"kept at {share} {word}{rest}{spread}")

    def _once(self, state: State, instants: Instants, holds: NDArray[np.bool_]) -> Verdict:
        if holds.any():
            t_us = int(instants[np.argmax(holds)])
            return self._pass(t_us, f"{explain.found(self.look, state, t_us)} at {seconds(t_us)}", t_us)
        t_us = int(instants[-1])
        last = f"last {explain.found(self.look, state, t_us)} at {seconds(t_us)}"
        return self._fail(
            t_us, f"not once from {seconds(int(instants[0]))} on: {last}{self._cut(', ')}", t_us
        )

    def _lasting(self, state: State, instants: Instants, holds: NDArray[np.bool_]) -> Verdict:
        """At least so long, or never longer.  A state lasts up to the instant that no longer shows it."""
        for_us, brief = self.check.manner.for_us, self.check.manner.kind == "brief"
        first = np.flatnonzero(_begins(holds))
        first = first[instants[first] <= self.stretch.end_us]
        if not len(first):
            if brief and not self._cut():
                return self._pass(None, "not once")
            return self._fail(None, self._cut() or "not once")
        falls = np.append(np.flatnonzero(_begins(~holds)), len(holds) - 1)
        ends = instants[falls[np.searchsorted(falls[:-1], first)]]
        longest = int(np.argmax(ends - instants[first]))
        from_us, to_us = int(instants[first][longest]), int(ends[longest])
        text = f"longest {seconds(to_us - from_us)}, from {seconds(from_us)} to {seconds(to_us)}"
        if brief:
            cut = self._cut(", ")
            return self._verdict(to_us - from_us <= for_us and not cut, from_us, text + cut, from_us)
        return self._verdict(to_us - from_us >= for_us, from_us, text, from_us)

    # -- happenings ----------------------------------------------------------------------------------

    def _happenings(self, statement: CommandIs | AnswerIs) -> Verdict:
        there = self._there(statement)
        if self.check.conditions and there:
            met = self._met(np.array([e.t_us for e in there], np.int64))
            there = [e for e, good in zip(there, met.tolist(), strict=True) if good]
        matches = [e for e in there if _is(statement, e)]
        if self.check.count:
            return self._counted(np.array([e.t_us for e in matches], np.int64))
        if self.check.manner.kind == "always":
            return self._every(there, [e for e in there if not _is(statement, e)])
        if self.check.manner.kind == "never":
            if matches:
                return self._fail(matches[0].t_us, self._listed(matches))
            return self._fail(None, self._cut()) if self._cut() else self._pass(None, "not once")
        if matches:
            return self._pass(matches[0].t_us, explain.happened_text(matches[0]))
        return self._fail(there[-1].t_us if there else None, self._listed(there) + self._cut(", "))

    def _there(self, statement: CommandIs | AnswerIs) -> list[Event]:
        """The happenings of that kind in the stretch; at T the last answer since the last request up to T."""
        start_us, end_us = self.stretch.start_us, self.stretch.end_us
        concerned = (e for e in self.trace.events if _concerns(statement, e))
        every = sorted(concerned, key=lambda e: e.t_us)
        if self.check.when.kind != "at" or isinstance(statement, CommandIs):
            return [e for e in every if start_us <= e.t_us <= end_us]
        requests = [
            e.t_us
            for e in self.trace.events
            if e.kind == "client" and e.subject == statement.protocol and e.t_us <= start_us
        ]
        since_us = requests[-1] if requests else 0
        return [e for e in every if since_us <= e.t_us <= start_us][-1:]

    def _every(self, there: list[Event], wrong: list[Event]) -> Verdict:
        if wrong:
            return self._fail(wrong[0].t_us, self._listed(wrong))
        if not there:
            return self._fail(None, f"nothing to judge: {self._listed(there)}")
        return (
            self._fail(None, self._cut())
            if self._cut()
            else self._pass(None, f"kept each of {times(len(there))}")
        )

    def _listed(self, events: list[Event]) -> str:
        if events:
            more = f" (and {len(events) - 1} more)" if len(events) > 1 else ""
            return explain.happened_text(events[0]) + more
        statement = self.check.statement
        if isinstance(statement, AnswerIs):
            return f"no answer of {statement.protocol}"
        name = statement.command if isinstance(statement, CommandIs) else statement.text
        return f"no command {name} in that time"

    # -- verdicts ------------------------------------------------------------------------------------

    def _counted(self, when_us: Instants) -> Verdict:
        number, count = len(when_us), self.check.count
        first = ", ".join(seconds(int(t)) for t in when_us[:5])
        found = times(number) + (f": {first}" if first else "") + (", ..." if number > 5 else "")
        most = number if count is None or count.most is None else count.most
        enough = count is not None and count.least <= number <= most
        at_us = int(when_us[-1]) if number else None
        return self._verdict(enough and not self._cut(), at_us, found + self._cut(", "))

    def _unmet(self, t_us: int | None) -> str:
        when = "never" if t_us is None else f"at {seconds(t_us)} not"
        return f"{when} {_together(self.check)}" if self.check.conditions else "no weight figure was shown"

    def _cut(self, before: str = "") -> str:
        """What to say when the run ends before the stretch does; "" when it does not."""
        if self.stretch.asked_us <= self.stretch.end_us:
            return ""
        asked, last = seconds(self.stretch.asked_us), seconds(self.trace.last_us())
        return f"{before}the run ends at {last}, before {asked}"

    def _pass(self, at_us: int | None, found: str, t_us: int | None = None) -> Verdict:
        return self._verdict(True, at_us, found, t_us)

    def _fail(self, at_us: int | None, found: str, t_us: int | None = None) -> Verdict:
        return self._verdict(False, at_us, found, t_us)

    def _verdict(self, passed: bool, at_us: int | None, found: str, t_us: int | None = None) -> Verdict:
        """t_us: the instant whose limits are told."""
        statement = self.check.statement
        if isinstance(statement, CommandIs | AnswerIs):
            text = explain.expected_event(statement)
        else:
            text = explain.expected(self.look, statement, t_us)
        return Verdict(self.check.name, passed, at_us, _as_asked(self.check, text), found)


def times(number: int, more: str = "") -> str:
    """A number of times in words."""
    return f"{number} {more}time{'' if number == 1 else 's'}"


def _together(check: Check) -> str:
    return " and ".join(condition.text for condition in check.conditions)


def _as_asked(check: Check, text: str) -> str:
    """What is expected, with how, while and how often around it."""
    manner, count = check.manner, check.count
    how = {
        "always": "always ",
        "never": "never ",
        "lasting": f"for at least {seconds(manner.for_us)} ",
        "brief": f"never for more than {seconds(manner.for_us)} ",
    }.get(manner.kind, "")
    text = f"{how}{text}" + (f" while {_together(check)}" if check.conditions else "")
    if count is None:
        return text
    if count.most is None:
        return f"{text}, at least {times(count.least)}"
    return f"{text}, {'exactly' if count.least == count.most else 'at most'} {times(count.most)}"


def _begins(holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where a state begins: it holds and did not at the instant before."""
    before = np.zeros_like(holds)
    before[1:] = holds[:-1]
    return holds & ~before


def _concerns(statement: CommandIs | AnswerIs, event: Event) -> bool:
    """Whether an event is one of that command, or an answer of that protocol."""
    if isinstance(statement, AnswerIs):
        return event.kind == "answer" and event.subject == statement.protocol
    said = event.text.partition(":")[0]
    return event.kind == "command" and f"{said} ".startswith(f"{statement.command} ")


def _is(statement: CommandIs | AnswerIs, event: Event) -> bool:
    if isinstance(statement, CommandIs):
        reason = event.text.partition(": ")[2]
        return event.done == statement.done and (statement.reason is None or statement.reason.meets(reason))
    wanted, octets = statement.wanted, event.octets
    if statement.how == "matches":
        return re.search(wanted, octets, re.DOTALL) is not None
    meets = {
        "is": octets == wanted,
        "contains": wanted in octets,
        "starts with": octets.startswith(wanted),
    }[statement.how]
    return meets != statement.negated
