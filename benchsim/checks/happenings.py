"""The happenings of a run that a check is about: commands asked for, answers given."""

from __future__ import annotations

import re

from benchsim.checks.sentence import When
from benchsim.checks.statements import AnswerIs, CommandIs
from benchsim.checks.stretch import Stretch
from benchsim.ground.readings import Event
from benchsim.record.trace import Trace


def there(statement: CommandIs | AnswerIs, when: When, stretch: Stretch, trace: Trace) -> list[Event]:
    """The happenings of that kind in a stretch; at T the last answer since the last request up to T."""
    start_us, end_us = stretch.start_us, stretch.end_us
    every = sorted((e for e in trace.events if _concerns(statement, e)), key=lambda e: e.t_us)
    if when.kind != "at" or isinstance(statement, CommandIs):
        return [e for e in every if start_us <= e.t_us <= end_us]
    requests = [
        e.t_us
        for e in trace.events
        if e.kind == "client" and e.subject == statement.protocol and e.t_us <= start_us
    ]
    since_us = requests[-1] if requests else 0
    return [e for e in every if since_us <= e.t_us <= start_us][-1:]


def _concerns(statement: CommandIs | AnswerIs, event: Event) -> bool:
    """Whether an event is one of that command, or an answer of that protocol."""
    if isinstance(statement, AnswerIs):
        return event.kind == "answer" and event.subject == statement.protocol
    said = event.text.partition(":")[0]
    return event.kind == "command" and f"{said} ".startswith(f"{statement.command} ")


def is_it(statement: CommandIs | AnswerIs, event: Event) -> bool:
    """Whether a happening of that kind is as the statement has it."""
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
