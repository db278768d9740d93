"""Targets for what people and programs write: check sentences, quantities, typed commands, SCP-0499."""

from __future__ import annotations

import math
import re
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal

from benchsim.checks import judge, quantities, sentence, statements, tokens
from benchsim.checks.forms import FORMS
from benchsim.checks.quantities import Known
from benchsim.checks.tokens import SentenceError
from benchsim.faults.fault import catalogue
from benchsim.ground import units
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Indication, Outcome
from benchsim.outputs import scp0499
from benchsim.rules.profile import load_profile
from benchsim.serve import typed
from tests.fuzz.pieces import Pieces, Target
from tests.record.runs import run
from tests.serve.small_bench import CARD, DECK, EMPTY, loaded

PROFILE = load_profile("r76-iii")
RUN = run(20, lambda t_us: t_us // 500_000)
KNOWN = (Known(), Known(4, (1, 2), ("scp0499",), Decimal(20)))


def words_of(octets: bytes) -> str:
    """Octets as the text that a file, a terminal or a program could hand on."""
    return octets.decode("utf-8", "replace")


def a_sentence(octets: bytes) -> None:
    """A check is judged, or refused at a column that lies in it."""
    pieces = Pieces(octets)
    known, text = KNOWN[pieces.number() & 1], words_of(pieces.rest())
    try:
        check = sentence.parse(text, known)
    except SentenceError as error:
        assert 1 <= error.column <= len(text) + 1
        assert error.found
        return
    judge.judge(check, RUN, PROFILE)


def a_quantity(octets: bytes) -> None:
    """A quantity in every dimension: an exact number, or one line that says what would be right."""
    text = words_of(octets)
    for dimension in units.DIMENSIONS:
        try:
            value = units.parse(text, dimension)
        except BadInput as error:
            assert error.right
            continue
        assert value.is_finite()
        if dimension is units.MASS and abs(value.adjusted()) < 300:
            assert units.parse(units.mass_text(value), units.MASS) == value


def _finite(value: object) -> None:
    """No figure of a command is infinite or no number."""
    if isinstance(value, float):
        assert math.isfinite(value)
    elif isinstance(value, tuple):
        for one in value:
            _finite(one)
    elif is_dataclass(value):
        for one in fields(value):
            _finite(getattr(value, one.name))


def a_typed_line(octets: bytes) -> None:
    """A typed line is a command with figures that are numbers, or is refused in words."""
    try:
        command = typed.read(words_of(octets), DECK)
    except BadInput as error:
        assert str(error)
        return
    _finite(command)


SHOWN = (
    EMPTY,
    loaded(150),
    loaded(150, 50, net=True),
    loaded(-3),
    loaded(10, motion=True),
    replace(EMPTY, valid=False, reason="node 2: lost"),
    replace(loaded(9_999_999), overload=True),
    replace(loaded(-40), underload=True, zero_error=True, tare_error=True),
    replace(EMPTY, initial_zero_error=True),
    replace(loaded(10**12), interval=Decimal("0.001")),
)
OUTCOMES = (Outcome(done=True), Outcome(done=False, reason="in motion"))
ANSWER = re.compile(rb"(\n[ -~]{0,40}\r)?")


def a_client(octets: bytes) -> None:
    """Octets of a client cut anywhere ask the same; every answer is one line of printable characters."""
    pieces = Pieces(octets)
    whole, cut = scp0499.converse(CARD), scp0499.converse(CARD)
    while pieces:
        how, shown = pieces.number(), SHOWN[pieces.number() % len(SHOWN)]
        if how & 3 == 0:
            said = whole.update(shown, 0)
            assert ANSWER.fullmatch(said)
            assert cut.update(shown, 0) == said
        elif how == 1:
            assert whole.spoiled() == cut.spoiled()
        else:
            _asks(whole, cut, pieces.some(), shown, OUTCOMES[how >> 2 & 1])
    assert len(whole._lines._held) <= scp0499.LONGEST_LINE


def _asks(
    whole: scp0499.Scp0499, cut: scp0499.Scp0499, octets: bytes, shown: Indication, outcome: Outcome
) -> None:
    asked = whole.receive(octets, shown, 0)
    assert [r for octet in octets for r in cut.receive(bytes([octet]), shown, 0)] == asked
    for request in asked:
        told = outcome if request.command is not None else None
        answer = whole.answer(request, told, shown, 0)
        assert ANSWER.fullmatch(answer)
        assert cut.answer(request, told, shown, 0) == answer


def _dictionary() -> tuple[str, ...]:
    return tuple(sorted({w for form in FORMS for w in form.example.split()}))


UNITS = tuple(sorted({unit for d in units.DIMENSIONS for unit in d.factors}))
TARGETS = {
    "sentence": Target(
        a_sentence,
        (sentence, statements, tokens, quantities, judge),
        ("sentence._count", "sentence._fits_stretch", "quantities.read_tolerance", "judge.judge"),
        _dictionary(),
        longest=300,
    ),
    "quantity": Target(a_quantity, (units,), ("units._wrong_unit", "units.mass_text"), UNITS, longest=80),
    "typed": Target(
        a_typed_line,
        (typed,),
        ("typed._axles", "typed._over", "typed._figures", "typed._plain_name", "typed._address"),
        (*typed.FORMS, *UNITS, *catalogue(), "cell", "node", "over", "at", "with"),
        longest=300,
    ),
    "scp0499": Target(
        a_client, (scp0499,), ("scp0499.parse", "scp0499._command", "scp0499.Scp0499._line"), longest=600
    ),
}
