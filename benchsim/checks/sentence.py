"""The check language: one sentence says when, what, and how often.

    at 15 s gross is 18.4 t within 1 d
    within 8 s after 20 s motion is on
    always error is within mpe while stable and true mass is steady for 2 s
    never recorded while in motion
    from 41 s to 44 s indication is invalid with reason "node 2"
    at 50.1 s answer of scp0499 is "\\n 1G ..."

A sentence is: [when] [how] statement [while state [and state]] [how often].  FORMS in forms.py is the whole
language, a line a form with an example; `benchsim` prints it and the tests read every example of it.

States (weights, flags, nodes) are looked at where a stretch starts and when something new is shown: at
every update of the indication, and at every change of a node's step.  A state lasts from the update that
shows it up to the update that no longer does, or to the end of the stretch.  Weights count only where a
figure may be shown: a check that found nothing to judge fails and says so, and so does one that must hold
all through where there is a moment without a figure that its `while` does not leave out (the whole run
counts from its first figure on).  Happenings (recorded, command, answer) are looked at when they happen.
`at T` takes the indication that stood at T, the command given at exactly T, the last answer up to T.

Weights are compared exactly: an indication is a whole number of d, a true value counts to 1 ug.
e counts as d.  `mpe` alone is the one on initial verification (acceptance); say `maintenance mpe` or
`in-service mpe` for the wider one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.checks.forms import FORMS, Form
from benchsim.checks.quantities import Known, read_time
from benchsim.checks.statements import (
    ONE_STATEMENT,
    AnswerIs,
    CommandIs,
    State,
    Statement,
    WeightIs,
    read_state,
    read_statement,
)
from benchsim.checks.tokens import SentenceError, Words
from benchsim.ground.clock import seconds

__all__ = ["FORMS", "Check", "Count", "Form", "Known", "Manner", "Moment", "SentenceError", "When", "parse"]


@dataclass(frozen=True, slots=True)
class Moment:
    """A point of the run: t_us, or an anchor: "the end", or "start" / "end" of the fault named.

    column: of the fault's name in the sentence, for whoever knows the faults.
    """

    t_us: int = 0
    anchor: str = ""
    fault: str = ""
    column: int = field(default=0, compare=False)


START, END = Moment(0), Moment(anchor="the end")


@dataclass(frozen=True, slots=True)
class When:
    """kind: at (start), within (start, for_us) or span (start to end)."""

    kind: str
    start: Moment = START
    end: Moment = END
    for_us: int = 0


@dataclass(frozen=True, slots=True)
class Manner:
    """kind: some, always, never, lasting (for at least for_us) or brief (never for more than for_us)."""

    kind: str
    for_us: int = 0


@dataclass(frozen=True, slots=True)
class Count:
    """How often: from least to most times (most None: no limit)."""

    least: int
    most: int | None


@dataclass(frozen=True, slots=True)
class Check:
    """One sentence, read.  name: what a table calls it (the sentence unless the scenario names it)."""

    name: str
    text: str
    when: When
    manner: Manner
    statement: Statement
    conditions: tuple[State, ...] = ()
    count: Count | None = None


_WHENS = ("at", "within", "from", "until", "during fault")
_MANNERS = ("always", "never", "for at least")


def parse(text: str, known: Known | None = None, name: str = "") -> Check:
    """A sentence to a check.  known: what the scenario has, for better errors.

    Raises SentenceError (a BadInput with the column): what was found, what would be right.
    """
    words = Words(text)
    known = known or Known()
    when, manner = _when_and_how(words)
    begins = () if when or manner else (*_WHENS, *_MANNERS)
    statement = read_statement(words, known, begins)
    conditions: tuple[State, ...] = ()
    count: Count | None = None
    while words.here.kind != "end":
        if words.accept("and" if conditions else "while"):
            conditions = (*conditions, read_state(words, known))
        elif count is None and words.sees_any("exactly", "at least", "at most", "once", "twice"):
            count = _count(words)
        else:
            raise _left_over(words, statement, conditions)
    filled = _filled(words, when, manner, statement, count)
    check = Check(name or text.strip(), text.strip(), *filled, statement, conditions, count)
    _fits(words, check)
    return check


def _left_over(words: Words, statement: Statement, conditions: tuple[State, ...]) -> SentenceError:
    """What stands after a statement and cannot stand there."""
    if words.sees_any("and", "or"):
        return words.wrong(str(words.here), ONE_STATEMENT)
    begins = [phrase for phrase in (*_WHENS, *_MANNERS) if phrase != "within" or _is_time(words)]
    if words.sees_any(*begins):
        return words.wrong(f"{words.here} after the statement", "a check says first when and how, then what")
    if words.sees("within"):
        if isinstance(statement, WeightIs) and statement.how == "within" and not conditions:
            return words.wrong("a second tolerance", "one tolerance is enough for a check")
        return words.wrong("a tolerance here", "it follows what a weight is: gross is 18.4 t within 1 d")
    tolerance = ["within TOL"] if isinstance(statement, WeightIs) and not conditions else []
    follows = [*tolerance, "and" if conditions else "while", "exactly N times", "the end of the sentence"]
    return words.unexpected(follows, "after this comes")


def _is_time(words: Words) -> bool:
    """Whether `within` begins a time, as in within 2 s after 20 s, and not a tolerance."""
    return any(token.kind == "word" and token.text.lower() == "after" for token in words.rest)


def _when_and_how(words: Words) -> tuple[When | None, Manner | None]:
    when: When | None = None
    manner: Manner | None = None
    while True:
        if when is None and words.sees_any(*_WHENS):
            when = _when(words)
        elif manner is None and words.sees_any(*_MANNERS):
            manner = _manner(words)
        elif words.sees_any(*_WHENS, *_MANNERS):
            raise words.wrong(
                f"a second {words.here.text!r}", "one time and one manner are enough for a check"
            )
        else:
            return when, manner


def _when(words: Words) -> When:
    kind = words.expect(*_WHENS)
    if kind == "at":
        return When("at", _moment(words))
    if kind == "within":
        for_us = read_time(words, "a length of time")
        words.expect("after")
        return When("within", _moment(words), for_us=for_us)
    if kind == "until":
        return When("span", end=_moment(words))
    if kind == "during fault":
        column, fault = words.here.column, _fault_name(words)
        return When("span", Moment(0, "start", fault, column), Moment(0, "end", fault, column))
    token = words.here
    start = _moment(words)
    if words.expect("to", "on") == "on":
        return When("span", start)
    end = _moment(words)
    if not start.anchor and not end.anchor and end.t_us < start.t_us:
        raise words.wrong("a stretch that ends before it begins", "from the earlier to the later time", token)
    return When("span", start, end)


def _moment(words: Words) -> Moment:
    if words.accept("the end", "end"):
        if not words.accept("of fault"):
            return END
        return Moment(0, "end", column=words.here.column, fault=_fault_name(words))
    if words.accept("the start of fault", "start of fault"):
        return Moment(0, "start", column=words.here.column, fault=_fault_name(words))
    return Moment(read_time(words, "a time"))


def _fault_name(words: Words) -> str:
    if words.here.kind == "text":
        return words.quoted("the name of a fault")
    if words.here.kind != "word":
        raise words.wrong(str(words.here), "the name of a fault, as 'link-outage'")
    return words.take().text


def _manner(words: Words) -> Manner:
    kind = words.expect(*_MANNERS)
    if kind == "for at least":
        return Manner("lasting", read_time(words, "a length of time"))
    if kind == "never" and words.accept("for more than"):
        return Manner("brief", read_time(words, "a length of time"))
    return Manner(kind)


def _count(words: Words) -> Count:
    kind = words.expect("exactly", "at least", "at most", "once", "twice")
    if kind in ("once", "twice"):
        number = {"once": 1, "twice": 2}[kind]
        return Count(number, number)
    named = words.accept("once", "twice")
    token = words.here
    number = {"once": 1, "twice": 2}[named] if named else words.whole("how often")
    if kind == "at least" and not number:
        raise words.wrong("at least 0 times", "that is always so: say 'exactly 0 times' or 'never'", token)
    if not named:
        words.expect("times", "time")
    return Count(0 if kind == "at most" else number, None if kind == "at least" else number)


def _filled(
    words: Words, when: When | None, manner: Manner | None, statement: Statement, count: Count | None
) -> tuple[When, Manner]:
    """What a sentence leaves out: a state holds all through, a happening happens at least once.

    An answer that is not something: none is, all through.
    """
    happens = isinstance(statement, CommandIs | AnswerIs)
    if when is None and manner is None and count is None and not happens:
        right = f"say when, as 'at 15 s {statement.text}' or 'always {statement.text}'"
        raise words.wrong("a state without a time", right, words.tokens[0])
    when = when or When("span")
    if manner is None:
        through = not happens or (isinstance(statement, AnswerIs) and statement.negated)
        manner = Manner("always" if when.kind == "span" and through and not count else "some")
    return when, manner


def _fits(words: Words, check: Check) -> None:
    """Refuse parts that cannot go together."""
    first = words.tokens[0]
    manner, happens = check.manner.kind, isinstance(check.statement, CommandIs | AnswerIs)
    if happens and manner in ("lasting", "brief"):
        raise words.wrong(f"'{check.statement.text}' for a length of time", "it happens at one moment", first)
    if check.when.kind != "span" and manner in ("always", "never", "brief"):
        right = "use it with 'from ... to ...', 'from ... on', 'until ...' or alone"
        raise words.wrong(f"'{'never' if manner == 'brief' else manner}' at one moment", right, first)
    if check.when.kind == "at" and manner == "lasting":
        raise words.wrong("'for at least' at one moment", "use it with 'within ... after ...'", first)
    _fits_stretch(words, check)
    if check.count and (manner != "some" or check.when.kind == "at"):
        raise words.wrong(
            "a number of times here", "count over a stretch: from ... to ..., or the whole run", first
        )


def _fits_stretch(words: Words, check: Check) -> None:
    """Refuse what a stretch has no room for, and what would be another thing at one of its moments."""
    when, for_us, statement = check.when, check.manner.for_us, check.statement
    bounded = when.kind == "span" and not when.start.anchor and not when.end.anchor
    room_us = when.end.t_us - when.start.t_us
    if check.manner.kind == "lasting" and bounded and for_us > room_us:
        raise words.wrong(
            f"'for at least {seconds(for_us)}' in a stretch of {seconds(room_us)}",
            "it must last inside that stretch: 'within ... after ...' is for what only begins there",
            words.tokens[0],
        )
    negated = isinstance(statement, AnswerIs) and statement.negated
    if negated and when.kind == "within" and not check.count:
        raise words.wrong(
            "'is not' at one moment of a stretch", "'from ... to ...' for none of them", words.tokens[0]
        )
