"""The scenarios that ship: each passes, and none of their checks is one that cannot fail.

A check is worth its line when something that can go wrong makes it fail. So each scenario is also run with
one thing spoilt at a time (a rule not kept, a fault, a load too much, a step left out) until every check has
failed at least once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan, Scheduled
from benchsim.checks.judge import judge
from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput
from benchsim.ground.library import shipped
from benchsim.link.parts import Expected
from benchsim.rules.profile import Profile
from benchsim.scale.supply import Supply
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.loader import load
from benchsim.scenario.run import run

FILES = sorted(shipped("scenarios").glob("*.yaml"))
SCENARIOS = pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)


@SCENARIOS
def test_a_shipped_scenario_passes_with_its_own_seed(path: Path) -> None:
    result = run(path)
    assert [f"{v.name}: {v.found}" for v in result.verdicts if not v.passed] == []
    assert len(result.verdicts) >= 5


@SCENARIOS
def test_every_check_of_a_shipped_scenario_can_fail(path: Path) -> None:
    scenario = load(path)
    built = assemble(scenario)
    never_failed = {check.name for check in built.checks}
    for plan, profile in spoilt(built):
        if not never_failed:
            break
        bench = Bench(plan, profile, scenario.file.seed)
        try:
            bench.run(plan.lasts_us)
        except BadInput:  # a step was left out that a later one needs
            continue
        for check in built.checks:
            if check.name in never_failed and not judge(check, bench.trace, profile).passed:
                never_failed.discard(check.name)
    assert never_failed == set()


def spoilt(built: Built) -> Iterator[tuple[Plan, Profile]]:
    """The scenario with one thing wrong at a time, what fails most checks first."""
    plan, rules = built.plan, built.profile
    late_us = max(plan.lasts_us - 3_000_000, 0)
    yield with_fault(plan, "power-loss"), rules
    if any(n.up or n.down for n in plan.nodes):
        yield with_perfect_links(plan), rules
    if any(n.supply != Supply() for n in plan.nodes):
        yield replace(plan, nodes=tuple(replace(n, supply=Supply()) for n in plan.nodes)), rules
    yield with_one_key(plan), rules
    yield told_what_is_wired(plan), rules
    yield plan, replace(rules, record_when_stable=False, tare_when_stable=False)
    yield plan, replace(rules, motion_band_d=Decimal(0))
    yield plan, replace(rules, motion_band_d=Decimal(10**6))
    yield with_masses(plan, 1.03), rules
    yield with_masses(plan, 0.1), rules
    yield plan, replace(rules, overload_percent=Decimal(50))
    yield plan, replace(rules, overload_percent=Decimal(1000), zero_setting_range=Decimal(1))
    yield plan, replace(rules, zero_setting_range=Decimal("0.0001"))
    yield with_fault(plan, "zero-shift", 3_000_000, 1, shift_mv_per_v=0.01), rules
    yield with_fault(plan, "zero-shift", 3_000_000, shift_mv_per_v=0.05), rules
    yield with_fault(plan, "open-terminal", 0, 1), rules
    yield with_fault(plan, "outage", late_us), rules
    for loc in dict.fromkeys(t.loc for t in built.told):
        kept = tuple(Scheduled(t.t_us, t.command) for t in built.told if t.loc != loc)
        yield replace(plan, timeline=kept), rules


def with_fault(plan: Plan, name: str, t_us: int = 0, target: int = 0, **figures: float) -> Plan:
    begins = Scheduled(t_us, ask.StartFault("spoilt", name, target, figures))
    return replace(plan, timeline=tuple(sorted((begins, *plan.timeline), key=lambda s: s.t_us)))


def with_perfect_links(plan: Plan) -> Plan:
    """Every frame arrives whole and at once."""
    return replace(plan, nodes=tuple(replace(n, up=(), down=()) for n in plan.nodes))


def with_one_key(plan: Plan) -> Plan:
    """Every node has the host's pairing key, whatever the scenario says."""
    nodes = tuple(replace(n, card=replace(n.card, key=plan.link.key)) for n in plan.nodes)
    return replace(plan, nodes=nodes)


def told_what_is_wired(plan: Plan) -> Plan:
    """The host expects what there is, whatever the scenario says that it was told."""
    wired = tuple(Expected(n.card.strap, 4) for n in plan.nodes if n.card.network == plan.link.network)
    expected = {e.address: e for e in (*wired, *plan.link.expected)}
    cells = sum(e.cells for e in expected.values())
    return replace(plan, link=replace(plan.link, expected=tuple(expected.values()), scale_cells=cells))


def with_masses(plan: Plan, factor: float) -> Plan:
    """Every load has another mass than the checks think."""

    def other(command: ask.Command) -> ask.Command:
        match command:
            case ask.Place():
                return replace(command, mass_kg=command.mass_kg * factor)
            case ask.Drive():
                axles = tuple(replace(a, mass_kg=a.mass_kg * factor) for a in command.axles)
                return replace(command, axles=axles)
            case ask.PresetTare():
                return replace(command, value=command.value + 10)
            case _:
                return command

    return replace(plan, timeline=tuple(replace(s, command=other(s.command)) for s in plan.timeline))
