"""The kinds of value a rule profile is written in: how each is read, and how it is told to people.

A reader takes what TOML gives (numbers as int or Decimal) and raises BadInput, without a place, when it
cannot be; what it tells is short enough for a column of a table.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.units import mass_text

NO_LIMIT = "no limit"
MOST_STEPS = 100
MOST_WORDS = 200


@dataclass(frozen=True, slots=True)
class Kind:
    """read: what stands in the file to the value.  tell: a value read, and its unit, in words."""

    read: Callable[[Any], Any]
    tell: Callable[[Any, str], str]


def digits(value: int | Decimal) -> str:
    """A number for people: 0.5, 22, 10 000 (groups of three from five digits on)."""
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    whole, point, rest = text.partition(".")
    return (f"{int(whole):,}".replace(",", " ") if len(whole.lstrip("-")) > 4 else whole) + point + rest


def _plain(value: int | Decimal, unit: str) -> str:
    return f"{digits(value)} {unit}".rstrip()


def number(low: str, high: str, tell: Callable[[Any, str], str] = _plain) -> Kind:
    """An exact number within a range, ends included."""

    def read(value: Any) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise BadInput(f"{value!r} is not a number", f"write a number from {low} to {high}")
        exact = Decimal(value)
        if not exact.is_finite() or not Decimal(low) <= exact <= Decimal(high):
            raise BadInput(f"{exact} is out of range", f"write a number from {low} to {high}")
        return exact

    return Kind(read, tell)


def whole(low: int, high: int) -> Kind:
    """A whole number within a range, ends included."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise BadInput(f"{value!r} is not a whole number", f"write one from {low} to {high}")
        if not low <= value <= high:
            raise BadInput(f"{value} is out of range", f"write a whole number from {low} to {high}")
        return value

    return Kind(read, _plain)


def mass_kg(low: str = "1e-9", high: str = "1e6") -> Kind:
    """A mass in kilograms."""
    return number(low, high, lambda value, _: mass_text(value))


def share(low: str, high: str) -> Kind:
    """A part of something, 1 being all of it; told in per cent."""
    return number(low, high, lambda value, unit: f"{digits(100 * value)} % {unit}")


def one_of(*words: str) -> Kind:
    """One word of a few."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            raise unknown("word", str(value), words)
        return value

    return Kind(read, lambda value, _: str(value))


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise BadInput(f"{value!r} is neither true nor false", "write true or false")
    return value


def _read_text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > MOST_WORDS:
        raise BadInput(f"{value!r} is not a line of text", f"write one of at most {MOST_WORDS} characters")
    return value


def _read_texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not 0 < len(value) <= MOST_STEPS:
        raise BadInput(f"{value!r} is not a list of texts", 'write ["...", ...]')
    return tuple(_read_text(item) for item in value)


YES_OR_NO = Kind(_yes_or_no, lambda value, _: "yes" if value else "no")
TEXT = Kind(_read_text, lambda value, _: str(value))
TEXTS = Kind(_read_texts, lambda value, _: ", ".join(value))


# -- pairs ---------------------------------------------------------------------------------------------


def pair(first: Kind, second: Kind, what: str, form: str, words: str) -> Kind:
    """Two values in a list.  what, form: for errors; words: with {0}, {1} for the two as they are told."""

    def read(value: Any) -> tuple[Any, Any]:
        if not isinstance(value, list) or len(value) != 2:
            raise BadInput(f"{value!r} is not {what}", f"write {form}")
        return first.read(value[0]), second.read(value[1])

    def tell(value: tuple[Any, Any], unit: str) -> str:
        return words.format(first.tell(value[0], ""), second.tell(value[1], unit))

    return Kind(read, tell)


_LOAD, _STEP = whole(1, 10**7), number("0.01", "1000")
FROM_INTERVAL = pair(
    mass_kg(), whole(1, 10**7), "an interval and a number", "[kg, number], as [0.005, 500]", "{1} from {0} on"
)
ABOVE_MAX = pair(
    mass_kg(high="1e9"), _STEP, "a Max and a limit", "[kg, limit], as [2000, 3]", "{1} above Max {0}"
)
FROM_MAX = pair(
    mass_kg(high="1e9"), whole(1, 1000), "a Max and a number", "[kg, number], as [1000, 3]",
    "{1} from Max {0} on",
)  # fmt: skip
ABOVE_COUNT = pair(
    _LOAD, _STEP, "a number of intervals and a limit", "[number, limit], as [4000, 0.83]", "{1} above n = {0}"
)
BEYOND = pair(
    _LOAD, _STEP, "a step", "[every, more], as [500, 1]", "{1} more for each {0} or part of it"
)  # fmt: skip
AREA_M = pair(
    number("0.01", "100"), number("0.01", "100"), "two lengths", "[m, m], as [1.2, 3.0]", "{0} m by {1}"
)
RANGE = pair(number("0", "1"), number("0", "1"), "a range", "[least, most], as [0.3, 0.8]", "{0} to {1}")


# -- lists ---------------------------------------------------------------------------------------------


def _read_bands(value: Any) -> tuple[tuple[int | None, Decimal], ...]:
    """[[500, 1], ["no limit", 2]]: loads rising, tolerances positive and not falling."""
    right = (
        "write [[load, tolerance], ...], loads rising and tolerances never falling, as [[500, 1], [2000, 2]]"
        f'; the last load may be "{NO_LIMIT}"'
    )
    if not isinstance(value, list) or not 0 < len(value) <= MOST_STEPS:
        raise BadInput(f"{value!r} is not a list of steps", right)
    bands: list[tuple[int | None, Decimal]] = []
    for step in value:
        if not isinstance(step, list) or len(step) != 2:
            raise BadInput(f"{step!r} is not a step", right)
        bands.append((None if step[0] == NO_LIMIT else _LOAD.read(step[0]), _STEP.read(step[1])))
    for (top, allowed), (next_top, next_allowed) in itertools.pairwise(bands):
        if top is None or (next_top is not None and next_top <= top) or next_allowed < allowed:
            behind = f"the step {_top(next_top)}, {next_allowed} stands behind {_top(top)}, {allowed}"
            raise BadInput(behind, right)
    return tuple(bands)


def _top(load: int | None) -> str:
    return NO_LIMIT if load is None else str(load)


def _tell_bands(bands: tuple[tuple[int | None, Decimal], ...], unit: str) -> str:
    told = [
        f"{_plain(allowed, unit)} " + ("beyond" if top is None else f"to {digits(top)}")
        for top, allowed in bands
    ]
    return ", ".join(told)


def _read_intervals(value: Any) -> tuple[tuple[Decimal, int], ...]:
    """[[0.01, 500], ...]: from an interval on, at least so many; intervals rising, numbers not falling."""
    right = "write [[interval, number], ...], both rising, as [[0.0002, 100], [0.01, 500]]"
    if not isinstance(value, list) or not 0 < len(value) <= MOST_STEPS:
        raise BadInput(f"{value!r} is not a list of intervals", right)
    found: list[tuple[Decimal, int]] = []
    for step in value:
        if not isinstance(step, list) or len(step) != 2:
            raise BadInput(f"{step!r} is not an interval and a number", right)
        found.append((number("1e-9", "1e6").read(step[0]), _LOAD.read(step[1])))
    for before, after in itertools.pairwise(found):
        if after[0] <= before[0] or after[1] < before[1]:
            raise BadInput(f"{after[0]}, {after[1]} stands behind {before[0]}, {before[1]}", right)
    return tuple(found)


def _tell_intervals(found: tuple[tuple[Decimal, int], ...], unit: str) -> str:
    return ", ".join(f"{digits(least)} from {digits(start)} {unit} on" for start, least in found)


def _read_factors(value: Any) -> tuple[tuple[str, Decimal], ...]:
    """{ maintenance = 1, acceptance = 0.5 }: names with factors."""
    if not isinstance(value, dict) or not 0 < len(value) <= MOST_STEPS:
        raise BadInput(f"{value!r} names no factors", "write { name = factor, ... }")
    return tuple((name, number("0.01", "100").read(factor)) for name, factor in value.items())


def _read_stages(value: Any) -> tuple[tuple[str, Decimal], ...]:
    if not isinstance(value, dict) or not value:
        raise BadInput(f"{value!r} names no stage", "write { stage = factor, ... }")
    return _read_factors(value)


def _tell_factors(factors: tuple[tuple[str, Decimal], ...], _unit: str) -> str:
    return ", ".join(f"{name} {digits(factor)}" for name, factor in factors)


def _read_part(value: Any) -> Fraction:
    """A part as it is written, "1/3", or a number above 0 and up to 1: exact."""
    right = 'write a part of Max, as "1/3" or 0.8'
    if isinstance(value, str):
        over, slash, under = value.partition("/")
        short = len(value) <= 9 and value.isascii() and over.isdigit() and under.isdigit()
        if not slash or not short or not int(under):
            raise BadInput(f"{value!r} is not a part", right)
        exact = Fraction(int(over), int(under))
    else:
        exact = Fraction(number("0.001", "1").read(value))
    if not 0 < exact <= 1:
        raise BadInput(f"{value} is out of range", right)
    return exact


BANDS = Kind(_read_bands, _tell_bands)
INTERVALS = Kind(_read_intervals, _tell_intervals)
FACTORS = Kind(_read_factors, _tell_factors)
STAGES = Kind(_read_stages, _tell_factors)
PART = Kind(_read_part, lambda value, unit: f"{value} {unit}")
