"""A verdict in words: what was expected by which clause, what was found, when."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from benchsim.checks.quantities import ERRORS, Operand, Quantity, Subject
from benchsim.checks.sentence import Check
from benchsim.checks.signals import Look
from benchsim.checks.statements import AnswerIs, Blank, CommandIs, NodeIs, State, Steady, WeightIs
from benchsim.checks.tolerances import clause
from benchsim.ground.clock import seconds
from benchsim.ground.readings import Event, Indication, LinkState
from benchsim.ground.rounding import shown
from benchsim.record.trace import NO_FIGURE, Flag, Trace

_STOPPING = [flag.name.lower().replace("_", " ") for flag in Flag if flag in NO_FIGURE and flag.name]
_NAMES = {Flag.SHOWS_NET: "net shown"} | {
    flag: flag.name.lower().replace("_", " ") for flag in Flag if flag.name and flag is not Flag.SHOWS_NET
}


def expected(look: Look, state: State, t_us: int | None) -> str:
    """What a state asks for, its limits worked out, with the clause of a tolerance.

    t_us: the instant whose limits are told; None: of no one instant, so only limits that never change.
    """
    if not isinstance(state, WeightIs) or not len(look.columns.t_us):
        return state.text
    source = clause(state.tolerance, look.profile) if state.tolerance else ""
    source = f" ({source})" if source else ""
    if t_us is None:
        if _varies(state):
            return f"{state.text}{source}"
        t_us = int(look.columns.t_us[0])
    rows = np.array([_row(look, t_us)])
    target = _weight_text(look, state.target, rows)
    name = f"{state.subject} {'not ' if state.negated else ''}"
    if state.how == "between" and state.upper is not None:
        return f"{name}between {target} and {_weight_text(look, state.upper, rows)}"
    if state.how != "within":
        return f"{name}{state.how} {target}"
    limit = look.reach(state, rows).at(0)
    if limit < 0:
        return f"{name}within a tolerance, but there is none for this load{source}"
    if not limit:
        return f"{name}{target}{source}"
    around = "" if state.subject.name in ERRORS and look.is_zero(state.target) else f"{target} "
    return f"{name}{around}± {look.scale.text(limit)}{source}"


def _varies(state: WeightIs) -> bool:
    """Whether the limits are another at each instant."""
    by_load = state.tolerance is not None and state.tolerance.unit == "mpe"
    return by_load or isinstance(state.target, Subject) or isinstance(state.upper, Subject)


def found(look: Look, state: State, t_us: int) -> str:
    """What stood there instead (or indeed) at an instant."""
    if isinstance(state, NodeIs):
        return _node_text(look.trace, state.address, t_us)
    row = _row(look, t_us)
    if row < 0:
        return "no indication yet"
    indication = look.trace.indication(row)
    if isinstance(state, WeightIs):
        return _found_weight(look, state, row, indication)
    if isinstance(state, Steady):
        return f"{state.subject} {_weight_text(look, state.subject, np.array([row]))}"
    if isinstance(state, Blank):
        return f"the display shows {indication.text}" if indication.shows_figure else why_blank(indication)
    if state.flag is Flag.VALID or not indication.valid:
        return "a valid indication" if indication.valid else why_blank(indication)
    return f"{_NAMES[state.flag]} {'on' if look.columns.flags[row] & state.flag else 'off'}"


def why_blank(indication: Indication) -> str:
    """Why no figure may be shown."""
    if not indication.valid:
        return f"an invalid indication: {indication.reason or 'no reason given'}"
    causes = [word for word in _STOPPING if getattr(indication, word.replace(" ", "_"))]
    return f"no figure shown: {', '.join(causes)}"


def spread(look: Look, state: State, judged: NDArray[np.bool_], t_us: NDArray[np.int64]) -> str:
    """From where to where the weight of a check went at the instants judged; "" for other states."""
    if not isinstance(state, WeightIs):
        return ""
    rows = np.searchsorted(look.columns.t_us, t_us[judged], "right") - 1
    value, _ = look.grains(state.subject, rows)
    ends = [_weight_text(look, state.subject, rows[[end]]) for end in (np.argmin(value), np.argmax(value))]
    return f": {state.subject} " + " to ".join(dict.fromkeys(ends))


def _row(look: Look, t_us: int) -> int:
    return int(np.searchsorted(look.columns.t_us, t_us, "right")) - 1


def _found_weight(look: Look, state: WeightIs, row: int, indication: Indication) -> str:
    rows = np.array([row])
    (value,), (defined,) = look.grains(state.subject, rows)
    if not defined:
        return _why_undefined(state.subject, indication)
    text = f"{state.subject} {_weight_text(look, state.subject, rows)}"
    if isinstance(state.target, Quantity):
        target = look.scale.grains(state.target)
    else:
        (other,), (known,) = look.grains(state.target, rows)
        if not known:
            return f"no figure of {state.target}"
        text += f", {state.target} {_weight_text(look, state.target, rows)}"
        target = Fraction(int(other))
    if state.how == "within" and target != value and state.subject.name not in ERRORS:
        off = int(value) - target
        return f"{text} ({look.scale.in_d(off)} off)"
    return text


def _why_undefined(subject: Subject, indication: Indication) -> str:
    if subject.name == "cell" or indication.shows_figure:
        return f"no figure of {subject}"
    return why_blank(indication)


def _weight_text(look: Look, operand: Operand, rows: NDArray[np.intp]) -> str:
    """A weight as it reads: indications as the display has them, others as a mass."""
    if isinstance(operand, Quantity):
        return look.scale.text(look.scale.grains(operand))
    (value,), _ = look.grains(operand, rows)
    if operand.name in ("gross", "net", "tare", "shown"):
        count = int(value) // look.scale.interval
        return f"{shown(count, look.trace.interval)} {look.trace.unit}"
    if operand.name in ERRORS:
        return f"{look.scale.text(int(value))} ({look.scale.in_d(int(value))})"
    if operand.name == "cell":  # a measured value: its last digits say nothing
        step = max(1, look.scale.interval // 1000)
        return look.scale.text(round(int(value) / step) * step)
    return look.scale.text(int(value))


def _node_text(trace: Trace, address: int, t_us: int) -> str:
    state = node_at(trace, address, t_us)
    if state is None:
        return f"nothing heard of node {address} yet"
    reason = state.reason.removeprefix(f"{state.step}: ")
    because = f": {reason}" if reason else ""
    detail = f" ({state.detail})" if state.detail else ""
    return f"node {address} {state.step}{because}{detail}"


def node_at(trace: Trace, address: int, t_us: int) -> LinkState | None:
    """What the host held of an address at an instant."""
    states = [s for t, s in trace.link_states if t <= t_us and s.address == address]
    return states[-1] if states else None


def happened_text(event: Event) -> str:
    """An event as a verdict names it."""
    if event.kind == "answer":
        return f"answer {quoted(event.octets)} at {seconds(event.t_us)}"
    what, _, reason = event.text.partition(": ")
    because = f": {reason}" if reason else ""
    return f"{what} {'done' if event.done else 'refused'} at {seconds(event.t_us)}{because}"


def quoted(octets: bytes) -> str:
    """Bytes as a check writes them."""
    text = octets.decode("latin-1").encode("unicode_escape").decode("ascii")
    return '"' + text.replace('"', '\\"') + '"'


def expected_event(statement: CommandIs | AnswerIs) -> str:
    """What a check on a happening asks for."""
    if isinstance(statement, CommandIs):
        return statement.text
    negation = "not " if statement.negated else ""
    return f"answer of {statement.protocol} {negation}{statement.how} {quoted(statement.wanted)}"


def times(number: int, more: str = "") -> str:
    """A number of times in words."""
    return f"{number} {more}time{'' if number == 1 else 's'}"


def together(check: Check) -> str:
    return " and ".join(condition.text for condition in check.conditions)


def as_asked(check: Check, text: str) -> str:
    """What is expected, with how, while and how often around it."""
    manner, count = check.manner, check.count
    how = {
        "always": "always ",
        "never": "never ",
        "lasting": f"for at least {seconds(manner.for_us)} ",
        "brief": f"never for more than {seconds(manner.for_us)} ",
    }.get(manner.kind, "")
    text = f"{how}{text}" + (f" while {together(check)}" if check.conditions else "")
    if count is None:
        return text
    if count.most is None:
        return f"{text}, at least {times(count.least)}"
    return f"{text}, {'exactly' if count.least == count.most else 'at most'} {times(count.most)}"
