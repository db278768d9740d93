"""How long a run goes on: as the file says, else a moment past the last thing that happens or is checked.

What lies after the end that a file gives is refused: it would never happen, or never be seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from benchsim.checks.sentence import Check, Moment
from benchsim.ground.clock import SECOND_US, seconds
from benchsim.ground.commands import EndFault, StartFault
from benchsim.scenario import story
from benchsim.scenario.findings import Findings, Scenario
from benchsim.scenario.timeline import Told

QUIET_AFTER_US = 2_000_000
"""How long a run goes on after the last thing that happens, unless told."""


def lasts(
    scenario: Scenario, last_us: int, told: tuple[Told, ...], checks: tuple[Check, ...], findings: Findings
) -> int:
    """In microseconds; whole seconds when the file does not say.  last_us: when the last thing happens."""
    acts = _Acts.of(told)
    given = scenario.file.lasts
    if given is None:
        last_us = max([last_us, *(t for check in checks for t in acts.wanted_us(check))]) + QUIET_AFTER_US
        return -(-last_us // SECOND_US) * SECOND_US
    right = f"the run lasts {seconds(given)}"
    for index, item in enumerate(scenario.file.timeline):
        for key, t_us in _times_of(item):
            if t_us > given:
                findings.add(("timeline", index, key), f"{key}: {seconds(t_us)} lies after the end", right)
    sentences = [sentence.strip() for sentence in scenario.file.checks]
    for check in checks:
        if (latest_us := max(acts.named_us(check))) > given:
            loc = ("checks", sentences.index(check.text))
            findings.add(loc, f"{seconds(latest_us)} lies after the end", right)
    return given


def _times_of(item: story.Step) -> Iterator[tuple[str, int]]:
    """The times an item of the timeline names, each with its key."""
    yield "at", item.at
    if isinstance(item, story.CommandItem | story.AskItem | story.FaultItem):
        if item.until is not None:
            yield "until", item.until
        elif item.for_ is not None:
            yield "for", item.at + item.for_


@dataclass(frozen=True, slots=True)
class _Acts:
    """When each fault of the timeline first begins and first ends, by its key."""

    begins_us: dict[str, int]
    ends_us: dict[str, int]

    @classmethod
    def of(cls, told: tuple[Told, ...]) -> _Acts:
        acts = cls({}, {})
        for item in told:
            if isinstance(item.command, StartFault):
                acts.begins_us.setdefault(item.command.key, item.t_us)
            elif isinstance(item.command, EndFault):
                acts.ends_us.setdefault(item.command.key, item.t_us)
        return acts

    def _time_us(self, moment: Moment) -> int:
        """0 for the end of the run, and for what never happens: it asks for no time of its own."""
        if not moment.fault:
            return moment.t_us
        known = self.begins_us if moment.anchor == "start" else self.ends_us
        return known.get(moment.fault, 0)

    def named_us(self, check: Check) -> tuple[int, ...]:
        """The times a check names, the ends of its stretches, and the first time it could be met."""
        when, start_us = check.when, self._time_us(check.when.start)
        for_us = check.manner.for_us if check.manner.kind == "lasting" else 0
        return start_us, self._time_us(when.end), start_us + when.for_us, start_us + for_us

    def wanted_us(self, check: Check) -> tuple[int, ...]:
        """The same, with the last time by which it must be met: what must last may begin late."""
        named = self.named_us(check)
        return *named, named[0] + check.when.for_us + (named[3] - named[0])
