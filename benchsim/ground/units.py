"""Quantities as people write them, "18.4 t", "300 m", "80 Hz", to numbers in one base unit and back.

A value without a unit is refused wherever a unit is possible: a bare 20 could be kilograms or divisions.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.errors import BadInput, nearest


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: its name, its base unit and the factor of each unit to the base."""

    name: str
    base: str
    factors: dict[str, Decimal]


def _dimension(name: str, base: str, **factors: str) -> Dimension:
    return Dimension(name, base, {base: Decimal(1)} | {u: Decimal(f) for u, f in factors.items()})


MASS = _dimension("mass", "kg", t="1000", g="0.001", mg="0.000001", lb="0.45359237")
LENGTH = _dimension("length", "m", mm="0.001", cm="0.01", km="1000")
TIME = Dimension(
    "time",
    "us",
    {
        u: Decimal(f)
        for u, f in [("us", "1"), ("µs", "1"), ("ms", "1e3"), ("s", "1e6"), ("min", "6e7"), ("h", "3.6e9")]
    },
)
FREQUENCY = _dimension("frequency", "Hz", kHz="1000", MHz="1000000", GHz="1000000000")
RATIO = Dimension("ratio", "1", {"%": Decimal("0.01"), "ppm": Decimal("1e-6"), "‰": Decimal("0.001")})
OUTPUT = Dimension(
    "bridge output", "mV/V", {"mV/V": Decimal(1), "uV/V": Decimal("0.001"), "µV/V": Decimal("0.001")}
)
VOLTAGE = Dimension(
    "voltage", "V", {"V": Decimal(1), "mV": Decimal("0.001"), "uV": Decimal("1e-6"), "nV": Decimal("1e-9")}
)
NOISE_DENSITY = Dimension(
    "noise density",
    "V/√Hz",
    {"nV/√Hz": Decimal("1e-9"), "nV/rtHz": Decimal("1e-9"), "uV/√Hz": Decimal("1e-6")},
)
RESISTANCE = Dimension(
    "resistance",
    "ohm",
    {
        u: Decimal(f)
        for u, f in [
            ("ohm", "1"),
            ("Ω", "1"),
            ("kohm", "1e3"),
            ("kΩ", "1e3"),
            ("Mohm", "1e6"),
            ("MΩ", "1e6"),
            ("Gohm", "1e9"),
        ]
    },
)
SPEED = Dimension("speed", "m/s", {"m/s": Decimal(1), "km/h": Decimal(1) / Decimal("3.6")})
ACCELERATION = Dimension("acceleration", "m/s2", {"m/s2": Decimal(1), "m/s²": Decimal(1)})
STIFFNESS = Dimension(
    "stiffness", "N/m", {"N/m": Decimal(1), "kN/m": Decimal(1000), "kN/mm": Decimal(1_000_000)}
)
PRESSURE = _dimension("pressure", "Pa", kPa="1000", bar="100000")
AREA = Dimension("area", "m2", {"m2": Decimal(1), "m²": Decimal(1)})
ANGLE = Dimension("angle", "°", {"°": Decimal(1), "deg": Decimal(1)})
MASS_RATE = Dimension(
    "mass rate",
    "kg/s",
    {"kg/s": Decimal(1), "t/h": Decimal(1000) / Decimal(3600), "kg/min": Decimal(1) / Decimal(60)},
)
TEMPERATURE = Dimension("temperature", "°C", {"°C": Decimal(1), "C": Decimal(1)})
TEMPERATURE_DIFFERENCE = Dimension(
    "temperature difference", "K", {"K": Decimal(1), "°C": Decimal(1), "C": Decimal(1)}
)
PER_KELVIN = Dimension(
    "temperature coefficient",
    "1/K",
    {"%/K": Decimal("0.01"), "ppm/K": Decimal("1e-6"), "%/10K": Decimal("0.001")},
)
DATA_RATE = _dimension("data rate", "bit/s", **{"kbit/s": "1000", "Mbit/s": "1000000"})
OCCURRENCE = Dimension(
    "rate of happening",
    "/h",
    {"/h": Decimal(1), "/min": Decimal(60), "/s": Decimal(3600), "/d": Decimal(1) / Decimal(24)},
)
DIVISIONS = Dimension("divisions", "d", {"d": Decimal(1), "e": Decimal(1)})

DIMENSIONS = (
    MASS, LENGTH, TIME, FREQUENCY, RATIO, OUTPUT, VOLTAGE, NOISE_DENSITY, RESISTANCE, SPEED, TEMPERATURE,
    TEMPERATURE_DIFFERENCE, PER_KELVIN, DATA_RATE, DIVISIONS, ACCELERATION, STIFFNESS, PRESSURE, AREA, ANGLE,
    MASS_RATE, OCCURRENCE,
)  # fmt: skip

MOST_ZEROS = 1500  # a quotient of two such numbers can still be counted and printed
_QUANTITY = re.compile(r"\s*([+-]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)?\s*$")


def in_any_range(value: Decimal) -> bool:
    """Whether a number can be a figure of anything: exact sums with others would take for ever."""
    return value.is_finite() and (not value or abs(value.adjusted()) <= MOST_ZEROS)


def parse(text: str, dimension: Dimension) -> Decimal:
    """A quantity in the dimension's base unit, exact.

    Raises BadInput: not a quantity, no unit, a unit of another dimension (named), an unknown unit.
    """
    match = _QUANTITY.match(text)
    if not match:
        raise BadInput(
            f"{text!r} is not {_one(dimension)}", f"write a number and a unit, as {example(dimension)!r}"
        )
    number, unit = match.groups()
    if unit is None:
        raise BadInput(f"{text!r} has no unit", f"write {_one(dimension)}, as {example(dimension, number)!r}")
    if unit not in dimension.factors:
        raise _wrong_unit(text, unit, dimension)
    try:
        exact = Decimal(number)
        value = exact * dimension.factors[unit]
    except ArithmeticError:  # an exponent beyond what a Decimal holds
        exact = value = Decimal("inf")
    if not (in_any_range(exact) and in_any_range(value)):  # a product of what is next to nothing is nothing
        raise BadInput(f"{text!r} is out of any range", f"write {_one(dimension)}, as {example(dimension)!r}")
    return value


def _wrong_unit(text: str, unit: str, dimension: Dimension) -> BadInput:
    other = next((d for d in DIMENSIONS if unit in d.factors), None)
    allowed = ", ".join(dimension.factors)
    if other is not None:
        return BadInput(
            f"{text!r} is {_one(other)}, not {_one(dimension)}", f"units of {dimension.name}: {allowed}"
        )
    close = nearest(unit, dimension.factors)
    hint = f"did you mean {close!r}? " if close else ""
    return BadInput(f"{text!r} has the unknown unit {unit!r}", f"{hint}units of {dimension.name}: {allowed}")


def _one(dimension: Dimension) -> str:
    return f"{'an' if dimension.name[0] in 'aeiou' else 'a'} {dimension.name}"


def example(dimension: Dimension, number: str = "10") -> str:
    """A well-formed quantity of the dimension, for messages."""
    unit = {"time": "s", "ratio": "%"}.get(dimension.name, next(iter(dimension.factors)))
    return f"{number} {unit}"


def mass_text(mass_kg: float | Decimal) -> str:
    """A mass for people: "18.4 t", "20 kg", "5 g"."""
    mass = Decimal(str(mass_kg))
    size = abs(mass)
    if size >= 1000:
        return f"{_plain(mass / 1000)} t"
    if size >= 1 or not size:
        return f"{_plain(mass)} kg"
    return f"{_plain(mass * 1000)} g"


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
