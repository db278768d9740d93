"""A timeline's items to the bench's commands, in order; what cannot be is found before the run."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from benchsim.bench.active import WHOLE
from benchsim.faults.fault import entry_of
from benchsim.ground import commands as ask
from benchsim.ground.clock import seconds
from benchsim.ground.errors import unknown
from benchsim.scenario import story, strikes
from benchsim.scenario.equipment import expect
from benchsim.scenario.onto import LOADS, loaded
from benchsim.scenario.stage import Stage
from benchsim.scenario.text import Loc

MAX_REPEATS = 20_000
_PLAIN: dict[str, ask.InstrumentCommand] = {
    "zero": ask.Zero(),
    "tare": ask.Tare(),
    "clear tare": ask.ClearTare(),
    "record": ask.Record(),
}


@dataclass(frozen=True, slots=True)
class Told:
    """A command, when, and the item of the file that it comes from."""

    t_us: int
    command: ask.Command
    loc: Loc


def commands_of(items: list[story.Step], stage: Stage) -> list[Told]:
    """All commands in order of time.  stage.ends_us is left at the last moment at which something happens."""
    told: list[Told] = []
    last_us = 0
    for index, item in enumerate(items):
        loc: Loc = ("timeline", index)
        if item.at < last_us:
            stage.findings.add(
                (*loc, "at"), f"at: {seconds(item.at)} lies before the item above it ({seconds(last_us)})",
                "put the items in order of time",
            )  # fmt: skip
        last_us = max(last_us, item.at)
        stage.ends_us = max(stage.ends_us, item.at)
        if isinstance(item, story.EndFaultItem):
            told = [t for t in told if not (t.t_us >= item.at and _of_fault(t, item.end_fault))]
            stage.resting = _rests(told, item.end_fault)
        told.extend(_told(item, loc, stage))
    return sorted(told, key=lambda t: t.t_us)


def _told(item: story.Step, loc: Loc, stage: Stage) -> Iterator[Told]:
    match item:
        case _ if isinstance(item, LOADS):
            yield from (Told(t_us, command, loc) for t_us, command in loaded(item, loc, stage))
        case story.CommandItem():
            command = _command(item, loc, stage)
            yield from (Told(t_us, command, loc) for t_us in _times(item, loc, stage))
        case story.AskItem():
            question = ask.Ask(item.ask, _octets(item.send, loc, stage))
            yield from (Told(t_us, question, loc) for t_us in _times(item, loc, stage))
        case story.FaultItem():
            yield from _fault(item, loc, stage)
        case story.EndFaultItem():
            if stage.acting.get(item.end_fault, -1) < item.at and stage.whole:
                stage.findings.add((*loc, "end fault"), *_no_such_fault(item, stage))
            stage.acting[item.end_fault] = item.at
            if not stage.resting:
                yield Told(item.at, ask.EndFault(item.end_fault), loc)
        case story.ExpectItem():
            place = (*loc, "expect")
            told = expect(item.expect, stage.wired, len(stage.receptor.supports), place, stage.findings)
            stage.addresses = tuple(address for address, _ in told.at)
            yield Told(item.at, told, loc)
        case story.PairItem() | story.ReleaseItem() | story.RecommissionItem():
            yield Told(item.at, _link(item, loc, stage), loc)


# -- the instrument and its clients --------------------------------------------------------------------


def _command(item: story.CommandItem, loc: Loc, stage: Stage) -> ask.InstrumentCommand:
    if item.command == "preset tare":
        if item.value is None:
            stage.findings.add(loc, "a preset tare without a value", "add value: 1.2 t")
            return ask.ClearTare()
        return ask.PresetTare(item.value)
    if item.value is not None:
        stage.findings.add(
            (*loc, "value"), f"{item.command} takes no value", "only a preset tare does", key=True
        )
    return _PLAIN[item.command]


def _octets(text: str, loc: Loc, stage: Stage) -> bytes:
    try:
        return text.encode("latin-1")
    except UnicodeEncodeError as error:
        stage.findings.add(
            (*loc, "send"), f"send: {text[error.start]!r} is not one octet", "characters up to U+00FF"
        )
        return b""


def _until(item: story.CommandItem | story.AskItem | story.FaultItem, loc: Loc, stage: Stage) -> int | None:
    if item.until is not None and item.for_ is not None:
        stage.findings.add((*loc, "for"), "both until and for", "keep one of them", key=True)
    until_us = item.at + item.for_ if item.for_ is not None else item.until
    if until_us is not None and until_us <= item.at:
        stage.findings.add(
            (*loc, "until"), f"until: {seconds(until_us)} is not after {seconds(item.at)}", "a later time"
        )
        return None
    return until_us


def _times(item: story.CommandItem | story.AskItem, loc: Loc, stage: Stage) -> list[int]:
    until_us = _until(item, loc, stage)
    if item.every is None:
        if until_us is not None:
            stage.findings.add(loc, "until or for without every", "add every: 500 ms")
        return [item.at]
    if until_us is None:
        if item.until is None:
            stage.findings.add((*loc, "every"), "every without until or for", "say how long", key=True)
        return [item.at]
    count = (until_us - item.at) // item.every + 1
    if count > MAX_REPEATS:
        stage.findings.add((*loc, "every"), f"every: {count} times", f"at most {MAX_REPEATS}")
        return [item.at]
    stage.ends_us = max(stage.ends_us, until_us)
    return [item.at + n * item.every for n in range(count)]


# -- faults and the link -------------------------------------------------------------------------------


def _no_such_fault(item: story.EndFaultItem, stage: Stage) -> tuple[str, str]:
    """What is wrong with the end of a fault that does not act, and what would be right."""
    acting = [key for key, ends_us in stage.acting.items() if ends_us > item.at]
    error = unknown("acting fault", item.end_fault, acting)
    if acting:
        return error.found, error.right
    begun = "no fault acts at that time" if stage.acting else "no fault begins before it on the timeline"
    return error.found, begun


def _of_fault(told: Told, key: str) -> bool:
    return isinstance(told.command, ask.StartFault | ask.EndFault) and told.command.key == key


def _rests(told: list[Told], key: str) -> bool:
    """Whether a fault has ended by all that is told of it: it comes and goes, and is gone."""
    last = max((t for t in told if _of_fault(t, key)), key=lambda t: t.t_us, default=None)
    return last is not None and isinstance(last.command, ask.EndFault)


def _fault(item: story.FaultItem, loc: Loc, stage: Stage) -> Iterator[Told]:
    key = item.as_ or item.fault
    if stage.acting.get(key, -1) > item.at and stage.whole:
        stage.findings.add(loc, f"a fault named {key!r} acts already", "give this one another name with as:")
    until_us = _until(item, loc, stage)
    stage.acting[key] = math.inf if until_us is None else until_us
    begin: ask.StartFault | None = None
    with stage.findings.at((*loc, "fault")):
        entry = entry_of(item.fault)
        target = _target(item, entry.stage, loc, stage)
        with stage.findings.at((*loc, "with")):
            figures = entry.read(item.with_)
            begin = ask.StartFault(key, item.fault, target, figures, item.growing or 0)
    for begin_us, end_us in strikes.spells(item, until_us, loc, stage.findings, stage.seed):
        if begin is not None:
            yield Told(begin_us, begin, loc)
        if end_us is not None:
            yield Told(end_us, ask.EndFault(key), loc)
    if until_us is not None:
        stage.ends_us = max(stage.ends_us, until_us)


def _target(item: story.FaultItem, where: str, loc: Loc, stage: Stage) -> int:
    """The cell or node a fault acts on; 0 for all.  Kinds by the fault's stage."""
    kind, _, digits = item.on.partition(" ")
    wanted, most = "cell", len(stage.receptor.supports)
    if where in ("node", "link"):
        wanted, most = "node", stage.nodes
    if where in WHOLE:
        if digits:
            stage.findings.add(
                (*loc, "on"), f"on: {item.on}", f"{item.fault} acts on the whole {where}; leave it out"
            )
        return 0
    if digits and (kind != wanted or not 1 <= int(digits) <= most):
        stage.findings.add(
            (*loc, "on"), f"on: {item.fault} on {item.on}", f"it acts on {wanted} 1 to {most}, or all"
        )
    return int(digits or 0)


def _link(
    item: story.PairItem | story.ReleaseItem | story.RecommissionItem, loc: Loc, stage: Stage
) -> ask.LinkCommand:
    word = "pair" if isinstance(item, story.PairItem) else "release"
    text = item.pair if isinstance(item, story.PairItem) else ""
    known = stage.addresses
    if isinstance(item, story.RecommissionItem):
        word, text, known = "recommission", item.recommission, tuple(sorted(set(stage.straps)))
    elif isinstance(item, story.ReleaseItem):
        text = item.release
    address = int(text.removeprefix("address ")) if text != "all" else 0
    if address and address not in known:
        allowed = ", ".join(map(str, known))
        stage.findings.add((*loc, word), f"{word}: no node at address {address}", f"addresses: {allowed}")
    if word == "pair":
        return ask.Pair(address)
    return ask.Release(address) if word == "release" else ask.Recommission(address)
