"""What a check can say of a run: the statements of the sentence language, and how each is read.

A statement is a plain value.  States (`State`) hold or do not hold at any instant; happenings
(`Happening`) are events.  Which subjects, flags and words there are stands in the tables here.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from benchsim.checks.quantities import (
    ERRORS,
    WEIGHTS,
    Known,
    Operand,
    Quantity,
    Subject,
    Tolerance,
    read_operand,
    read_subject,
    read_time,
    read_tolerance,
)
from benchsim.checks.tokens import Token, Words
from benchsim.checks.wording import Wording, check_pattern, read_reason
from benchsim.record.trace import Flag

FLAGS = {
    "initial zero error": Flag.INITIAL_ZERO_ERROR,
    "centre of zero": Flag.CENTRE_OF_ZERO,
    "center of zero": Flag.CENTRE_OF_ZERO,
    "preset tare": Flag.PRESET_TARE,
    "zero error": Flag.ZERO_ERROR,
    "tare error": Flag.TARE_ERROR,
    "net shown": Flag.SHOWS_NET,
    "underload": Flag.UNDERLOAD,
    "overload": Flag.OVERLOAD,
    "motion": Flag.MOTION,
    "stable": Flag.MOTION,
}
CONDITIONS = {
    "in motion": (Flag.MOTION, True),
    "stable": (Flag.MOTION, False),
    "at zero": (Flag.CENTRE_OF_ZERO, True),
    "overloaded": (Flag.OVERLOAD, True),
    "underloaded": (Flag.UNDERLOAD, True),
    "invalid": (Flag.VALID, False),
    "valid": (Flag.VALID, True),
}
STEPS = ("idle", "seek", "prove", "flow", "lost", "failed", "released")
ONE_STATEMENT = "one statement a check: write two checks, or 'gross is zero while stable is on'"
COMMANDS = ("zero", "preset tare", "clear tare", "tare", "record")


@dataclass(frozen=True, slots=True)
class WeightIs:
    """A weight against another.

    how: within (target, tolerance), above, below, at least, at most (target) or between (target, upper).
    """

    text: str
    subject: Subject
    how: str
    target: Operand
    tolerance: Tolerance | None = None
    upper: Operand | None = None
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Steady:
    """A weight that has not changed from one update to the next for as long as for_us or longer."""

    text: str
    subject: Subject
    for_us: int


@dataclass(frozen=True, slots=True)
class FlagIs:
    """One flag of the indication; for VALID with a test on the reason."""

    text: str
    flag: Flag
    on: bool
    reason: Wording | None = None


@dataclass(frozen=True, slots=True)
class Blank:
    """Whether the display shows no weight figure, for whatever cause."""

    text: str
    blank: bool


@dataclass(frozen=True, slots=True)
class NodeIs:
    """The step of one address as its host sees it."""

    text: str
    address: int
    step: str
    negated: bool
    reason: Wording | None = None


@dataclass(frozen=True, slots=True)
class CommandIs:
    """A command of that name was done or refused."""

    text: str
    command: str
    done: bool
    reason: Wording | None = None


@dataclass(frozen=True, slots=True)
class AnswerIs:
    """What a host protocol answered.  how: is, contains, starts with or matches."""

    text: str
    protocol: str
    how: str
    wanted: bytes
    negated: bool


State = WeightIs | Steady | FlagIs | Blank | NodeIs
Happening = CommandIs | AnswerIs
Statement = State | Happening


def beginnings() -> tuple[str, ...]:
    """The words a statement can begin with, for messages."""
    names = [w for w in WEIGHTS if w != "cell"]
    return (
        *names, "cell N", *FLAGS, *CONDITIONS, "indication", "blank", "node N", "recorded", "recording",
        "command NAME", "answer of PROTOCOL",
    )  # fmt: skip


def read_statement(words: Words, known: Known, also: tuple[str, ...] = ()) -> Statement:
    """The statement that comes next.  also: what else would have been right here."""
    return _happening(words, known, words.here) or read_state(words, known, also)


def read_state(words: Words, known: Known, also: tuple[str, ...] = ()) -> State:
    """The state that comes next (after `while`, only a state can stand)."""
    start = words.here
    state = _condition(words, start) or _flag(words, start) or _indication(words, start)
    state = state or _node(words, known, start)
    if state:
        return state
    subject = read_subject(words, known)
    if subject is None:
        if words.behind.text.lower() in ("and", "or"):
            raise words.wrong(f"{words.here} before {words.behind}", ONE_STATEMENT)
        raise words.unexpected((*also, *beginnings()), "a check speaks of")
    return _weight(words, known, subject, start)


def _spoken(words: Words, start: Token) -> str:
    return words.sentence[start.column - 1 : words.here.column - 1].strip()


def _condition(words: Words, start: Token) -> State | None:
    """A state in one word: "in motion", "stable", "blank"."""
    for phrase, (flag, on) in CONDITIONS.items():
        if words.sees(phrase) and not words.sees(f"{phrase} is"):
            words.accept(phrase)
            reason = read_reason(words) if flag is Flag.VALID and not on else None
            return FlagIs(_spoken(words, start), flag, on, reason)
    if words.accept("blank"):
        return Blank(_spoken(words, start), True)
    return None


def _flag(words: Words, start: Token) -> State | None:
    name = words.accept(*FLAGS)
    if not name:
        return None
    words.verb(name, "is on")
    negated = bool(words.accept("not"))
    on = (words.expect("on", "off") == "on") != negated
    return FlagIs(_spoken(words, start), FLAGS[name], on != (name == "stable"))


def _indication(words: Words, start: Token) -> State | None:
    if not words.accept("indication"):
        return None
    words.verb("indication", "is valid")
    negated = bool(words.accept("not"))
    if words.accept("blank"):
        return Blank(_spoken(words, start), not negated)
    name = words.expect(*CONDITIONS, also=["blank"])
    flag, on = CONDITIONS[name]
    reason = read_reason(words) if flag is Flag.VALID else None
    if reason and on != negated:
        raise words.wrong("a reason for a valid indication", "ask for the reason of an invalid one", start)
    return FlagIs(_spoken(words, start), flag, on != negated, reason)


def _node(words: Words, known: Known, start: Token) -> State | None:
    if not words.accept("node"):
        return None
    token = words.here
    address = words.whole("the address of a node")
    if known.nodes and address not in known.nodes:
        there = ", ".join(map(str, known.nodes))
        raise words.wrong(f"node {address}", f"the host expects nodes at: {there}", token)
    words.verb(f"node {address}", "is flow")
    negated = bool(words.accept("not"))
    step = words.expect(*STEPS)
    reason = read_reason(words)
    return NodeIs(_spoken(words, start), address, step, negated, reason)


def _happening(words: Words, known: Known, start: Token) -> Happening | None:
    if words.accept("recorded"):
        return CommandIs(_spoken(words, start), "record", True)
    if words.accept("recording"):
        return _done_or_refused(words, "record", start)
    if words.accept("command"):
        return _done_or_refused(words, words.expect(*COMMANDS), start)
    if words.accept("answer"):
        words.expect("of")
        return _answer(words, known, start)
    return None


def _done_or_refused(words: Words, command: str, start: Token) -> CommandIs:
    words.expect("is")
    done = words.expect("done", "refused") == "done"
    reason = None if done else read_reason(words)
    return CommandIs(_spoken(words, start), command, done, reason)


def _answer(words: Words, known: Known, start: Token) -> AnswerIs:
    if known.protocols:
        protocol = words.expect(*known.protocols)
    elif words.here.kind == "word":
        protocol = words.take().text
    else:
        raise words.wrong(str(words.here), "the name of a host protocol")
    how = words.expect("is", "contains", "starts with", "matches")
    negated = how == "is" and bool(words.accept("not"))
    token = words.here
    wanted = words.quoted("the answer")
    if not wanted and how != "is":
        raise words.wrong(f"an answer that {how} nothing", "every one would do: write its bytes", token)
    try:
        octets = wanted.encode("latin-1")
    except UnicodeEncodeError as error:
        raise words.wrong(
            f"the character {wanted[error.start]!r} in an answer",
            "one byte a character: \\x00 to \\xFF",
            token,
        ) from None
    if how == "matches":
        check_pattern(words, token, octets)
    return AnswerIs(_spoken(words, start), protocol, how, octets, negated)


def _weight(words: Words, known: Known, subject: Subject, start: Token) -> WeightIs | Steady:
    compared = words.here.text if words.sees_any("above", "below", "within", "between", "steady") else ""
    words.verb(str(subject), {"": "is 18.4 t within 1 d"}.get(compared, f"is {compared} ..."))
    if words.accept("steady for"):
        for_us = read_time(words, "a length of time")
        return Steady(_spoken(words, start), subject, for_us)
    negated = bool(words.accept("not"))
    how = words.accept("within", "above", "below", "at least", "at most", "between") or "equal"
    tolerance: Tolerance | None = None
    upper: Operand | None = None
    if how == "within":
        tolerance = read_tolerance(words)
        target: Operand = Quantity(Decimal(0), "d")
        if subject.name not in ERRORS or words.sees("of"):
            words.expect("of")
            target = read_operand(words, known)
    else:
        target = read_operand(words, known)
    if how == "between":
        words.expect("and")
        upper = read_operand(words, known)
        _rising(words, target, upper, start, known)
    if how == "equal":
        how, tolerance = (
            "within",
            read_tolerance(words) if words.accept("within") else Tolerance(Decimal(0), "d"),
        )
    if tolerance and tolerance.unit == "1" and isinstance(target, Quantity) and not target.value:
        share = f"{tolerance.value * 100:f}".rstrip("0").rstrip(".")
        right = f"write it in d or kg, or say of what: gross is within {share} % of true mass"
        raise words.wrong(f"{share} % of zero, which is nothing", right, start)
    return WeightIs(_spoken(words, start), subject, how, target, tolerance, upper, negated)


def _rising(words: Words, lower: Operand, upper: Operand, start: Token, known: Known) -> None:
    """Refuse a range that runs backwards, as far as it can be told before the scale is known."""
    if not isinstance(lower, Quantity) or not isinstance(upper, Quantity):
        return
    worth = {"d": known.interval_kg or None}
    ends = [None if (kg := worth.get(q.unit, Decimal(1))) is None else q.value * kg for q in (lower, upper)]
    if lower.unit == upper.unit:
        ends = [lower.value, upper.value]
    if ends[0] is not None and ends[1] is not None and ends[0] > ends[1]:
        raise words.wrong("a range that runs backwards", "between the smaller and the larger", start)
