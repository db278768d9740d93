"""A check and a trace to a verdict: held or not, at which exact instant, what was expected, what was found.

Nothing passes because there was nothing to look at: a time outside the run, a stretch without an update,
a weight that was not shown all through, a `while` that was never met all fail and say so (a `never` with no
happening, or whose `while` was never met, is kept).  Only what looks at the whole run begins with its first
figure, and says when that was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.checks import explain
from benchsim.checks.explain import times, together
from benchsim.checks.happenings import is_it, there
from benchsim.checks.sentence import END, START, Check
from benchsim.checks.signals import Instants, Look, Seen
from benchsim.checks.spells import begins, longest
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
        seen, met = self.look.see(state, instant), self._met(instant).holds
        if not met[0]:
            return self._fail(t_us, f"nothing to judge: {self._unmet(t_us)}", t_us)
        passed = bool(seen.holds[0] and seen.defined[0])
        return self._verdict(passed, t_us, explain.found(self.look, state, t_us), t_us)

    def _over(self, state: State) -> Verdict:
        manner, start_us, end_us = self.check.manner.kind, self.stretch.start_us, self._looks_to_us()
        instants = self._instants(state, start_us, end_us)
        seen, condition = self.look.see(state, instants), self._met(instants)
        met, holds = condition.holds, seen.holds & seen.defined & condition.holds
        if not len(instants) or not seen.defined.any():
            return self._nothing(state, instants)
        if manner == "always":
            wrong = met & ~(seen.holds & seen.defined)
            if self.check.when.start == START and self.check.when.end == END:
                wrong[: np.argmax(seen.defined)] = False
            return self._none_of(state, instants, wrong, seen, met)
        if manner == "never":
            return self._none_of(state, instants, holds, seen, met)
        if self.check.count:
            told = seen.defined & condition.defined
            return self._counted(instants[told][begins(holds[told])])
        if manner in ("lasting", "brief"):
            return self._lasting(instants, holds)
        return self._once(state, instants, holds)

    def _looks_to_us(self) -> int:
        """Where the look at a state ends: what must begin soon after T may go on beyond that time."""
        goes_on = self.check.manner.kind == "lasting" and self.check.when.kind == "within"
        return last_told_us(self.trace) if goes_on else self.stretch.end_us

    def _instants(self, state: State, start_us: int, end_us: int) -> Instants:
        instants = self.look.instants(state, start_us, end_us)
        conditions = self.check.conditions
        if not any(isinstance(s, NodeIs) for s in (state, *conditions)):
            return instants
        first_us = 0 if isinstance(state, NodeIs) else self.look.first_us()
        for condition in conditions:
            instants = np.union1d(instants, self.look.instants(condition, start_us, end_us))
        return instants[instants >= first_us]

    def _met(self, instants: Instants) -> Seen:
        """Where the `while` of the check is met, and where that can be told."""
        met, told = np.ones((2, len(instants)), np.bool_)
        for condition in self.check.conditions:
            seen = self.look.see(condition, instants)
            met &= seen.holds & seen.defined
            told &= seen.defined
        return Seen(met, told)

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
        number, unseen = int(judged.sum()), met & ~seen.defined
        word = ("moment" if isinstance(state, NodeIs) else "update") + ("" if number == 1 else "s")
        found = f"kept at all {number} {word}"
        if unseen.any() and self.check.manner.kind == "always":
            found += f" from the first figure on, at {seconds(int(instants[np.argmax(judged)]))}"
        elif unseen.any():
            found = f"kept at {number} of {int(met.sum())} {word}, the others gave nothing to judge"
        return self._pass(None, found + explain.spread(self.look, state, judged, instants))

    def _once(self, state: State, instants: Instants, holds: NDArray[np.bool_]) -> Verdict:
        if holds.any():
            t_us = int(instants[np.argmax(holds)])
            return self._pass(t_us, f"{explain.found(self.look, state, t_us)} at {seconds(t_us)}", t_us)
        t_us = int(instants[-1])
        last = f"last {explain.found(self.look, state, t_us)} at {seconds(t_us)}"
        return self._fail(
            t_us, f"not once from {seconds(int(instants[0]))} on: {last}{self._cut(', ')}", t_us
        )

    def _lasting(self, instants: Instants, holds: NDArray[np.bool_]) -> Verdict:
        """At least so long, or never longer."""
        for_us, brief = self.check.manner.for_us, self.check.manner.kind == "brief"
        ends_us, begun_by_us = self._looks_to_us(), self.stretch.end_us
        spell = longest(instants, holds, ends_us, begun_by_us)
        if spell is None:
            if brief and not self._cut():
                return self._pass(None, "not once")
            return self._fail(None, self._cut() or "not once")
        lasted_us = spell.to_us - spell.from_us
        text = f"longest {seconds(lasted_us)}, from {seconds(spell.from_us)} to {seconds(spell.to_us)}"
        cut = self._cut(", ")
        if brief:
            return self._verdict(lasted_us <= for_us and not cut, spell.from_us, text + cut, spell.from_us)
        if lasted_us < for_us:
            last_us = self.trace.last_us()
            goes_on = holds[-1] and ends_us >= last_us and instants[begins(holds)][-1] <= begun_by_us
            text += cut or (f", the run ends at {seconds(last_us)} while it lasts" if goes_on else "")
        return self._verdict(lasted_us >= for_us, spell.from_us, text, spell.from_us)

    # -- happenings ----------------------------------------------------------------------------------

    def _happenings(self, statement: CommandIs | AnswerIs) -> Verdict:
        events = there(statement, self.check.when, self.stretch, self.trace)
        if self.check.conditions and events:
            met = self._met(np.array([e.t_us for e in events], np.int64)).holds
            events = [e for e, good in zip(events, met.tolist(), strict=True) if good]
        matches = [e for e in events if is_it(statement, e)]
        if self.check.count:
            return self._counted(np.array([e.t_us for e in matches], np.int64))
        if self.check.manner.kind == "always":
            return self._every(events, [e for e in events if not is_it(statement, e)])
        if self.check.manner.kind == "never":
            if matches:
                return self._fail(matches[0].t_us, self._listed(matches))
            return self._fail(None, self._cut()) if self._cut() else self._pass(None, "not once")
        if matches:
            return self._pass(matches[0].t_us, explain.happened_text(matches[0]))
        return self._fail(events[-1].t_us if events else None, self._listed(events) + self._cut(", "))

    def _every(self, events: list[Event], wrong: list[Event]) -> Verdict:
        if wrong:
            return self._fail(wrong[0].t_us, self._listed(wrong))
        if not events:
            return self._fail(None, f"nothing to judge: {self._listed(events)}")
        return (
            self._fail(None, self._cut())
            if self._cut()
            else self._pass(None, f"kept each of {times(len(events))}")
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
        return f"{when} {together(self.check)}" if self.check.conditions else "no weight figure was shown"

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
        return Verdict(self.check.name, passed, at_us, explain.as_asked(self.check, text), found)
