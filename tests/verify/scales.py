"""Scales to verify, small and quick ones, and what can be done to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan, Scheduled
from benchsim.ground.commands import StartFault
from benchsim.rules.profile import Profile, load_profile
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load_text
from benchsim.verify.on_bench import OnBench, bench_of
from benchsim.verify.procedures import chosen, procedures_of
from benchsim.verify.reader import Reader
from benchsim.verify.run import Report, verify
from benchsim.verify.subject import subject_of

SEED = 5
PLATFORM = """
title: A platform that is as good as it can be
scale:
  capacity: 3 t
  interval: 1 kg
  receptor: {length: 1.5 m, width: 1.5 m, dead load: 240 kg, natural frequency: 11 Hz, damping: 20 %}
cells: {count: 4, capacity: 2 t, inset: 10 cm}
nodes: {rate: 20 Hz, noise: 5 nV/√Hz}
link: {samples per frame: 4}
host: {updates: 5}
"""
BRIDGE = """
title: A deck for vehicles
scale:
  capacity: 60 t
  interval: 20 kg
  receptor: {length: 18 m, width: 3 m, dead load: 12 t, natural frequency: 6 Hz, damping: 20 %}
cells: {count: 6, capacity: 30 t, inset: 30 cm}
nodes: {rate: 20 Hz, noise: 5 nV/√Hz}
link: {samples per frame: 4}
host: {updates: 5}
"""
LONG = ("creep", "zero return", "zero-load return")
"""Procedures that take half an hour and more of bench time."""


@dataclass(frozen=True)
class Spoiled:
    """What is done to a good scale.  cells: figures of each cell, after the host was calibrated.

    faults: (name, target, figures by field name), from the start on.  host: of the rules that the host keeps.
    """

    faults: tuple[tuple[str, int, dict[str, float | str]], ...] = ()
    cells: dict[str, Any] = field(default_factory=dict)
    host: dict[str, Any] = field(default_factory=dict)


GOOD = Spoiled()


@lru_cache
def plan_of(text: str, rules: str) -> Plan:
    return assemble(load_text(f"{text}rules: {rules}\n", "scale.yaml")).plan


def spoiled(plan: Plan, by: Spoiled) -> Plan:
    """The plan of the scale that was spoiled."""
    starts = (
        Scheduled(0, StartFault(f"{name} {number}", name, target, figures))
        for number, (name, target, figures) in enumerate(by.faults)
    )
    cells = tuple(replace(cell, **by.cells) for cell in plan.scale.cells)
    return replace(plan, timeline=tuple(starts), scale=replace(plan.scale, cells=cells))


def verified(
    text: str,
    rules: str,
    by: Spoiled = GOOD,
    leave_out: Iterable[str] = (),
    reader: Callable[[Bench], Reader] = OnBench,
    only: str = "",
    among: Iterable[str] = (),
) -> Report:
    """The report on a scale.  leave_out: titles of procedures.

    only: a clause.  among: no other titles than these.
    """
    profile = load_profile(rules)
    plan = spoiled(plan_of(text, rules), by)
    keeps: Profile = replace(profile, **by.host)
    procedures = procedures_of(profile)
    if only:
        procedures = chosen(procedures, only)
    out, titles = set(leave_out), set(among) or {p.title for p in procedures}
    done = [p for p in procedures if p.title in titles - out]
    return verify(subject_of(plan, profile), lambda: reader(bench_of(plan, keeps, SEED)), done)


@lru_cache
def good(text: str, rules: str) -> Report:
    """The report on a scale as it was built, without what takes long."""
    return verified(text, rules, leave_out=LONG)


def failing(report: Report) -> set[str]:
    """Titles of the procedures that failed."""
    return {test.title for test in report.failed}
