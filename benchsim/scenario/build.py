"""A scenario to a bench plan, its rule profile and its checks; all that is impossible is told at once.

Every judgement that needs more than one value of the file is made here or in the modules named after what
they judge (layout, equipment, stack, timeline).  Nothing runs yet.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from benchsim.bench.plan import NodePlan, Plan, Scheduled
from benchsim.checks.sentence import Check, Known, SentenceError, parse
from benchsim.ground.clock import SECOND_US, seconds
from benchsim.ground.commands import Ask, Expect, StartFault
from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.readings import InstrumentCard
from benchsim.ground.rounding import is_scale_interval
from benchsim.host.parts import CellSeat, HostParts
from benchsim.link.figures import Way
from benchsim.link.parts import HostCard, LinkSettings
from benchsim.outputs.output import protocol_names
from benchsim.rules.profile import Profile, load_profile
from benchsim.rules.tables import check_intervals
from benchsim.scale.nominal import nominal
from benchsim.scale.parts import ScaleParts
from benchsim.scenario import equipment
from benchsim.scenario.blame import judge
from benchsim.scenario.findings import Findings, Scenario
from benchsim.scenario.layout import cells_of
from benchsim.scenario.length import lasts
from benchsim.scenario.stack import judge_ways, shadows_of, stack_of, ways_of
from benchsim.scenario.stage import Stage
from benchsim.scenario.timeline import Told, commands_of

HOST_ID = 1
ANY_PROFILE = "r76-iii"


@dataclass(frozen=True, slots=True)
class Built:
    """A scenario ready to run.  told: each command with the item of the timeline it comes from.

    ways: (address, its way) of each node whose radio or cable the file describes.
    """

    plan: Plan
    profile: Profile
    checks: tuple[Check, ...]
    told: tuple[Told, ...]
    ways: tuple[tuple[int, Way], ...] = ()


def build(scenario: Scenario, seed: int | str | None = None) -> tuple[Plan, Profile, tuple[Check, ...]]:
    """What a bench needs.  seed: instead of the file's own.  Raises ManyBadInputs, each with its place."""
    built = assemble(scenario, seed)
    return built.plan, built.profile, built.checks


def assemble(scenario: Scenario, seed: int | str | None = None) -> Built:
    """The same, with the way back from a command to the file."""
    findings = Findings(scenario.places)
    draft = judged(scenario, findings, seed)
    findings.tell()
    assert draft.profile is not None
    file, nodes = scenario.file, draft.nodes
    shadows_db = shadows_of(nodes, file.seed if seed is None else seed)
    plan = Plan(
        scale=draft.parts,
        nodes=tuple(_node_plan(node, db) for node, db in zip(nodes, shadows_db, strict=True)),
        link=_host_card(scenario, draft.told_first),
        host=_host(scenario, draft.parts, nodes),
        card=_card(scenario),
        lasts_us=draft.lasts_us,
        timeline=tuple(Scheduled(t.t_us, t.command) for t in draft.told),
        outputs=tuple(file.outputs),
        paired_at_start=file.link.pair_at_start,
    )
    ways = ways_of(nodes, file.link.samples_per_frame, shadows_db)
    return Built(plan, draft.profile, draft.checks, draft.told, ways)


@dataclass(frozen=True, slots=True)
class Draft:
    """What a scenario comes to, as far as it goes: sound only where nothing was found wrong."""

    profile: Profile | None
    nodes: list[equipment.NodeSpec]
    parts: ScaleParts
    told_first: Expect
    told: tuple[Told, ...]
    checks: tuple[Check, ...]
    lasts_us: int


def judged(scenario: Scenario, findings: Findings, seed: int | str | None = None) -> Draft:
    """Every judgement there is, in findings."""
    file = scenario.file
    profile = _profile(scenario, findings)
    _judge_scale(scenario, profile, findings)
    count = cells_of(file, findings)
    nodes = equipment.nodes_of(file, count, findings)
    parts = equipment.scale_parts(file, count, nodes, findings)
    if findings.clean("scale", "cells", "nodes", "site"):
        with findings.at(("scale",)):
            judge(parts, file, scenario.places)
    wired = equipment.wired(nodes)
    first = equipment.expect(file.link.expected, wired, count, ("link", "expected"), findings)
    addresses = tuple(address for address, _ in first.at)
    straps = tuple(n.card.strap for n in nodes)
    stage = Stage(parts.receptor, len(nodes), addresses, straps, findings, wired)
    stage.seed = file.seed if seed is None else seed
    told = tuple(commands_of(file.timeline, stage))
    later = {a for t in told if isinstance(t.command, Expect) for a, _ in t.command.at}
    ever = tuple(sorted({*addresses, *later}))
    known = Known(
        cells=count if findings.sure("cells") else 0,
        nodes=ever if findings.sure("cells", "nodes") else (),
        protocols=protocol_names(),
        interval_kg=file.scale.interval if findings.sure("scale") else Decimal(0),
    )
    checks = _checks(scenario, known, told, findings)
    lasts_us = lasts(scenario, stage.ends_us, told, checks, findings)
    _judge_names(scenario, told, findings)
    _judge_updates(scenario, findings)
    _judge_silence(scenario, findings)
    judge_ways(file, nodes, findings)
    return Draft(profile, nodes, parts, first, told, checks, lasts_us)


# -- the rules and the scale's figures -----------------------------------------------------------------


def own_profile(scenario: Scenario) -> Path | None:
    """The file of the scenario's own rule profile, from the scenario's folder; None for one that ships."""
    word = scenario.file.rules
    return scenario.path.parent / word if word.endswith(".toml") else None


def _profile(scenario: Scenario, findings: Findings) -> Profile | None:
    with findings.at(("rules",)):
        own = own_profile(scenario)
        return load_profile(scenario.file.rules if own is None else str(own))
    return None


def _judge_scale(scenario: Scenario, profile: Profile | None, findings: Findings) -> None:
    scale = scenario.file.scale
    if profile is None and is_scale_interval(scale.interval):
        return  # whether it fits a class cannot be said, but 1, 2, 5 holds for all
    rules = profile or load_profile(ANY_PROFILE)
    for error in check_intervals(scale.capacity, scale.interval, rules):
        findings.add(("scale", "interval"), f"interval: {error.found}", error.right)


# -- the host ------------------------------------------------------------------------------------------


def _judge_updates(scenario: Scenario, findings: Findings) -> None:
    updates = scenario.file.host.updates
    if SECOND_US % updates:
        fitting = ", ".join(str(n) for n in range(1, 101) if SECOND_US % n == 0)
        findings.add(
            ("host", "updates"), f"updates: {updates} a second do not divide a second evenly",
            f"one of {fitting}",
        )  # fmt: skip


def _host(scenario: Scenario, parts: ScaleParts, nodes: list[equipment.NodeSpec]) -> HostParts:
    file = scenario.file
    return HostParts(
        profile=file.rules,
        unit="kg",
        capacity_kg=file.scale.capacity,
        interval=file.scale.interval,
        rate_hz=int(file.nodes.rate),
        seats=tuple(_seats(nodes, nominal(parts))),
        update_hz=file.host.updates,
        averaging_us=file.host.averaging,
        waiting_us=file.host.waiting,
        zero_tracking=file.host.zero_tracking,
        initial_zero=file.host.initial_zero,
    )


def _seats(nodes: list[equipment.NodeSpec], worth: tuple[tuple[float, float], ...]) -> list[CellSeat]:
    """One a cell, in cell order, at the address where the host expects its node."""
    seats = {
        cell: CellSeat(node.address, channel, *worth[cell])
        for node in nodes
        if node.address is not None
        for channel, cell in enumerate(node.station.cells)
    }
    return [seats[cell] for cell in sorted(seats)]


def _judge_silence(scenario: Scenario, findings: Findings) -> None:
    """A node may not count as lost between two of its own frames."""
    link, rate = scenario.file.link, int(scenario.file.nodes.rate) or 1
    frame_us = link.samples_per_frame * SECOND_US // rate
    if link.silence <= frame_us:
        findings.add(
            ("link", "silence"), f"silence: {seconds(link.silence)} passes between two frames of a node",
            f"more than {seconds(frame_us)}: {link.samples_per_frame} samples a frame at {rate} Hz",
        )  # fmt: skip


def _host_card(scenario: Scenario, told: Expect) -> HostCard:
    link = scenario.file.link
    expected = equipment.expected(told, int(scenario.file.nodes.rate))
    settings = LinkSettings(
        samples_per_frame=link.samples_per_frame, liveness_us=link.silence, beat_us=link.beat
    )
    key = equipment.pairing_key(link.pairing_key)
    return HostCard(HOST_ID, link.network, key, expected, settings, scale_cells=told.cells)


def _card(scenario: Scenario) -> InstrumentCard:
    own, scale = scenario.file.instrument, scenario.file.scale
    return InstrumentCard(
        model=own.model,
        revision=own.revision,
        serial=own.serial,
        kind=own.kind,
        unit="kg",
        capacity_d=int(scale.capacity / scale.interval),
        interval=scale.interval,
    )


def _node_plan(node: equipment.NodeSpec, shadowing_db: float) -> NodePlan:
    stack = stack_of(node.link, shadowing_db)
    return NodePlan(node.card, up=stack, down=stack, supply=node.supply)


# -- what is asked, how long, what is checked ----------------------------------------------------------


def _judge_names(scenario: Scenario, told: tuple[Told, ...], findings: Findings) -> None:
    """Protocols go by the names of their files."""
    known = protocol_names()
    for index, name in enumerate(scenario.file.outputs):
        if name not in known:
            error = unknown("protocol", name, known)
            findings.add(("outputs", index), error.found, error.right)
    seen = set()
    for item in told:
        if isinstance(item.command, Ask) and item.command.protocol not in known and item.loc not in seen:
            seen.add(item.loc)
            error = unknown("protocol", item.command.protocol, known)
            findings.add((*item.loc, "ask"), error.found, error.right)


def _checks(
    scenario: Scenario, known: Known, told: tuple[Told, ...], findings: Findings
) -> tuple[Check, ...]:
    checks: list[Check] = []
    keys = [t.command.key for t in told if isinstance(t.command, StartFault)]
    for index, sentence in enumerate(scenario.file.checks):
        loc = ("checks", index)
        try:
            check = parse(sentence, known)
        except SentenceError as error:
            place = scenario.places.inside(loc, error.column)
            findings.take(loc, BadInput(error.found, error.right, place))
            continue
        for moment in (check.when.start, check.when.end):
            if moment.fault and moment.fault not in keys and findings.sure("timeline"):
                wrong = unknown("fault of the timeline", moment.fault, keys)
                right = wrong.right if keys else "the timeline has no fault"
                place = scenario.places.inside(loc, moment.column)
                findings.take(loc, BadInput(wrong.found, right, place))
                break
        checks.append(check)
    return tuple(checks)
