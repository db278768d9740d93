"""The weights and tolerances a check writes down: "18.4 t", "1 d", "cell 3", "0.7 maintenance mpe".

Read here into exact Decimals; what they come to in counts of d is the business of tolerances.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from benchsim.checks.tokens import Token, Words
from benchsim.ground.errors import BadInput
from benchsim.ground.units import DIVISIONS, MASS, TIME, parse

WEIGHTS = (
    "true mass", "fine gross", "fine net", "fine error", "display", "shown", "gross", "error", "net", "tare",
    "cell",
)  # fmt: skip
ERRORS = ("error", "fine error")
STAGES = {
    "maintenance": "maintenance",
    "in service": "maintenance",
    "in-service": "maintenance",
    "acceptance": "acceptance",
    "initial": "acceptance",
}
MAX_CELLS = 16


@dataclass(frozen=True, slots=True)
class Known:
    """What the scenario has, so that a check on something else is refused when it is read.

    cells: how many, 0 for not known.  nodes: addresses, () for not known.  protocols: names, () likewise.
    interval_kg: d, 0 for not known.
    """

    cells: int = 0
    nodes: tuple[int, ...] = ()
    protocols: tuple[str, ...] = ()
    interval_kg: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Subject:
    """A weight of one instant: one of WEIGHTS ("display" is read as shown).  number: which cell, from 1.

    fine: in tenths of d, the rounding of the indication mostly taken out (R 76-1 3.5.3).
    """

    name: str
    number: int = 0

    def __str__(self) -> str:
        return f"cell {self.number}" if self.number else self.name


@dataclass(frozen=True, slots=True)
class Quantity:
    """A weight written down.  value: kg when the unit is "kg", else counts of d."""

    value: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a weight may be off.

    unit: "kg", "d", "1" (a fraction of the target), "mpe" (value times the profile's tolerance for the
    true load at that stage) or "zero window" (the profile's centre-of-zero band).
    """

    value: Decimal
    unit: str
    stage: str = ""


Operand = Subject | Quantity


def read_subject(words: Words, known: Known) -> Subject | None:
    name = words.accept(*WEIGHTS)
    if name != "cell":
        return Subject("shown" if name == "display" else name) if name else None
    token = words.here
    number = words.whole("the number of a cell")
    highest = known.cells or MAX_CELLS
    if not 1 <= number <= highest:
        raise words.wrong(f"cell {number}", f"cells are numbered 1 to {highest}", token)
    return Subject("cell", number)


def read_operand(words: Words, known: Known) -> Operand:
    if words.accept("zero"):
        return Quantity(Decimal(0), "d")
    subject = read_subject(words, known)
    if subject is not None:
        return subject
    if words.here.kind != "number":
        others = [w for w in WEIGHTS if w != "cell"]
        raise words.unexpected(["18.4 t", "1 d", "zero", *others, "cell N"], "a weight")
    return _quantity(words)


def _quantity(words: Words) -> Quantity:
    """A number and its unit: of mass, or d or e (e counts as d: one interval serves both)."""
    value, token = words.number("a weight")
    unit = words.here
    if unit.kind != "word":
        raise words.wrong(
            f"{token.text} has no unit", f"write {token.text} t, {token.text} kg or {token.text} d", token
        )
    words.take()
    written = token.text.replace("−", "-")
    if unit.text in DIVISIONS.factors:
        return Quantity(words.bounded(value, token, "a weight"), "d")
    try:
        return Quantity(parse(f"{written} {unit.text}", MASS), MASS.base)
    except BadInput as error:
        raise words.wrong(error.found, f"{error.right}, or d, e", token) from None


def read_tolerance(words: Words) -> Tolerance:
    """What stands after `within`: 1 d, 20 kg, 0.5 %, mpe, 0.7 maintenance mpe, zero window."""
    start = words.here
    factor = Decimal(1)
    if start.kind == "number":
        if words.behind.kind == "word" and not _named(words.behind):
            return _plain_tolerance(words, start)
        factor = words.bounded(*words.number("a tolerance"), "a tolerance")
        if factor <= 0:
            raise words.wrong(f"a tolerance of {start.text} mpe", "a tolerance is above 0", start)
    if words.accept("zero window"):
        return Tolerance(factor, "zero window")
    stage = words.accept(*STAGES)
    words.expect("mpe", "tolerance", also=["1 d", "20 kg", "0.5 %", "zero window", *STAGES])
    return Tolerance(factor, "mpe", STAGES[stage or "initial"])


def _named(token: Token) -> bool:
    """Whether a word begins a tolerance that has a name."""
    return token.text.lower() in {"mpe", "tolerance", "zero", "in", *STAGES}


def _plain_tolerance(words: Words, start: Token) -> Tolerance:
    if words.behind.text == "%":
        value = words.bounded(*words.number("a tolerance"), "a tolerance")
        words.take()
        tolerance = Tolerance(value / 100, "1")
    else:
        quantity = _quantity(words)
        tolerance = Tolerance(quantity.value, quantity.unit)
    if tolerance.value < 0:
        raise words.wrong(f"a tolerance of {start.text}", "a tolerance is 0 or above", start)
    return tolerance


def read_time(words: Words, what: str) -> int:
    """A time in whole microseconds."""
    _, token = words.number(what)
    unit = words.here
    if unit.kind != "word" or unit.text not in TIME.factors:
        words_of_time = ", ".join(TIME.factors)
        raise words.wrong(f"{token.text} without a unit of time", f"{what} in {words_of_time}", token)
    words.take()
    try:
        t_us = parse(f"{token.text} {unit.text}".replace("−", "-"), TIME)
    except BadInput as error:
        raise words.wrong(error.found, error.right, token) from None
    if t_us < 0 or t_us != int(t_us):
        raise words.wrong(f"{token.text} {unit.text}", f"{what} is 0 or above, in whole microseconds", token)
    return int(t_us)
