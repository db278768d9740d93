"""The kinds of value a scenario is written in: quantities with units, positions, switches.

Each kind reads what a person wrote (a string with a unit) and states that string in the JSON Schema, with a
pattern and an example; a bare number is refused wherever a unit is possible.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from benchsim.ground import units
from benchsim.ground.errors import BadInput, nearest
from benchsim.ground.units import Dimension

POWER_LEVEL = Dimension("power level", "dBm", {"dBm": Decimal(1)})
DECIBELS = Dimension("gain", "dB", {"dB": Decimal(1), "dBi": Decimal(1)})
_NUMBER = r"[+-]?(\d[\d_]*\.?\d*|\.\d+)([eE][+-]?\d+)?"


def refuse(found: str, right: str, within: tuple[str | int, ...] = ()) -> PydanticCustomError:
    """An error that the loader turns into BadInput.  within: where in the value, as far as it is known."""
    return PydanticCustomError("found", "{found}", {"found": found, "right": right, "within": within})


@dataclass(frozen=True, eq=False, slots=True)
class _Kind:
    """What every kind shares: pydantic calls `take`, the JSON Schema shows `shape`."""

    def take(self, value: Any) -> Any:
        try:
            return self.read(value)
        except BadInput as error:
            raise refuse(error.found, error.right) from None

    def read(self, value: Any) -> Any:
        return value

    def shape(self) -> dict[str, Any]:
        return {}

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.take)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return self.shape()


@dataclass(frozen=True, eq=False, slots=True)
class Quantity(_Kind):
    """A number with a unit of one dimension, as Decimal in the base unit; bounds are quantities too."""

    dimension: Dimension
    above: str | None = None
    at_least: str | None = None
    at_most: str | None = None

    def read(self, value: Any) -> Decimal | int:
        number = self._number(value)
        if self.above is not None and number <= units.parse(self.above, self.dimension):
            raise BadInput(f"{value} is too small", f"more than {self.above}")
        if self.at_least is not None and number < units.parse(self.at_least, self.dimension):
            raise BadInput(f"{value} is too small", f"at least {self.at_least}")
        if self.at_most is not None and number > units.parse(self.at_most, self.dimension):
            raise BadInput(f"{value} is too large", f"at most {self.at_most}")
        return number

    def _number(self, value: Any) -> Decimal | int:
        dimension = self.dimension
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise BadInput(
                f"{shorten(value)} is not a {dimension.name}", f"write {units.example(dimension)!r}"
            )
        number = units.parse(str(value), dimension)
        if not math.isfinite(float(number)):
            raise BadInput(f"{value} is out of any range", f"write a {dimension.name} that can be")
        if dimension is not units.TIME:
            return number
        if number != int(number):
            raise BadInput(f"{value} is not a whole number of microseconds", "times go by whole microseconds")
        return int(number)

    def shape(self) -> dict[str, Any]:
        names = "|".join(re.escape(u).replace("\\ ", " ") for u in self.dimension.factors if u != "1")
        bounds = {"more than": self.above, "at least": self.at_least, "at most": self.at_most}
        limits = ", ".join(f"{words} {limit}" for words, limit in bounds.items() if limit is not None)
        optional = "?" if "1" in self.dimension.factors else ""
        return {
            "type": "string",
            "pattern": rf"^\s*{_NUMBER}\s*({names}){optional}\s*$",
            "examples": [units.example(self.dimension, "10")],
            "limits": limits,
        }


@dataclass(frozen=True, slots=True)
class Noise:
    """A converter's noise: counts at its output, or density at its input; the other is 0."""

    rms_counts: float = 0.0
    density_v_per_rthz: float = 0.0
    noise_free: float = 0.0  # counts over the whole range, in place of both


@dataclass(frozen=True, eq=False, slots=True)
class NoiseKind(_Kind):
    """A converter's noise, in RMS counts, as a density, or as the noise-free counts that it leaves."""

    def read(self, value: Any) -> Noise:
        text = str(value)
        match = re.fullmatch(rf"\s*(?P<n>{_NUMBER})\s*noise-free counts\s*", text)
        if match:
            counts = float(match["n"])
            if not 10 <= counts <= 1e9:
                raise BadInput(f"{text!r}", "from 10 noise-free counts to 1e9 noise-free counts")
            return Noise(noise_free=counts)
        match = re.fullmatch(rf"\s*(?P<n>{_NUMBER})\s*counts?\s*", text)
        if match:
            counts = float(match["n"])
            if not 0 <= counts <= 1e9:
                raise BadInput(f"{text!r} of noise", "from 0 counts to 1e9 counts")
            return Noise(rms_counts=counts)
        try:
            density = float(Quantity(units.NOISE_DENSITY, at_least="0 nV/√Hz").read(value))
        except BadInput as error:
            raise BadInput(
                error.found, "write '12 counts' or '20 nV/√Hz', or '100000 noise-free counts'"
            ) from None
        return Noise(density_v_per_rthz=density)

    def shape(self) -> dict[str, Any]:
        names = "|".join(re.escape(u) for u in units.NOISE_DENSITY.factors)
        return {
            "type": "string",
            "pattern": rf"^\s*{_NUMBER}\s*((noise-free )?counts?|{names})\s*$",
            "examples": ["12 counts", "20 nV/√Hz", "100000 noise-free counts"],
            "description": "RMS counts at the output, noise density at the input, or noise-free counts left.",
        }


@dataclass(frozen=True, slots=True)
class Spot:
    """A point on the receptor: metres, or over a cell (from 1), or the middle when both are None."""

    at_m: tuple[float, float] | None = None
    cell: int | None = None


@dataclass(frozen=True, eq=False, slots=True)
class SpotKind(_Kind):
    """A place on the receptor: two lengths, over a cell, or the middle."""

    def take(self, value: Any) -> Spot:
        if isinstance(value, str):
            match = re.fullmatch(r"\s*over cell (\d{1,3})\s*", value)
            if match:
                return Spot(cell=int(match[1]))
            if value.strip() == "centred":
                return Spot()
            raise refuse(f"{shorten(value)} is not a position", "write [9 m, 1.5 m], centred or over cell 3")
        if not isinstance(value, list) or len(value) != 2:
            raise refuse(f"{shorten(value)} is not a position", "write [9 m, 1.5 m], centred or over cell 3")
        return Spot(at_m=(self._length(value, 0), self._length(value, 1)))

    def _length(self, pair: list[Any], index: int) -> float:
        try:
            return float(Quantity(units.LENGTH).read(pair[index]))
        except BadInput as error:
            raise refuse(error.found, error.right, (index,)) from None

    def shape(self) -> dict[str, Any]:
        length = Quantity(units.LENGTH).shape()
        return {
            "anyOf": [
                {"type": "array", "items": length, "minItems": 2, "maxItems": 2},
                {"type": "string", "pattern": r"^\s*(centred|over cell \d{1,3})\s*$"},
            ],
            "examples": [["9 m", "1.5 m"], "centred", "over cell 3"],
            "description": "Along the length and across it from the corner at cell 1, or words.",
        }


@dataclass(frozen=True, eq=False, slots=True)
class Along(_Kind):
    """A length, or the word centred (None)."""

    def read(self, value: Any) -> float | None:
        if value == "centred":
            return None
        try:
            return float(Quantity(units.LENGTH).read(value))
        except BadInput as error:
            raise BadInput(error.found, f"{error.right}; or write centred") from None

    def shape(self) -> dict[str, Any]:
        return {"anyOf": [Quantity(units.LENGTH).shape(), {"const": "centred"}]}


@dataclass(frozen=True, eq=False, slots=True)
class Switch(_Kind):
    """on or off; YAML 1.2 leaves these words alone, so they are read here."""

    def read(self, value: Any) -> bool:
        if isinstance(value, bool):
            return value
        if isinstance(value, str) and value in ("on", "off"):
            return value == "on"
        meant = {"yes": "on", "y": "on", "1": "on", "no": "off", "n": "off", "0": "off"}
        close = meant.get(str(value).lower()) or nearest(str(value), ("on", "off"))
        raise BadInput(f"{shorten(value)} is not a switch", f"write {close or 'on or off'}")

    def shape(self) -> dict[str, Any]:
        return {"enum": ["on", "off", True, False]}


def shorten(value: Any) -> str:
    """A found value for a message, cut short."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


Mass = Annotated[Decimal, Quantity(units.MASS, above="0 kg", at_most="100000 t")]
DeadLoad = Annotated[Decimal, Quantity(units.MASS, at_least="0 kg", at_most="100000 t")]
Length = Annotated[Decimal, Quantity(units.LENGTH, above="0 m", at_most="1 km")]
Distance = Annotated[Decimal, Quantity(units.LENGTH, at_least="0 m", at_most="1 km")]
Time = Annotated[int, Quantity(units.TIME, at_least="0 s", at_most="1000 h")]
Span = Annotated[int, Quantity(units.TIME, above="0 s", at_most="1000 h")]
Waiting = Annotated[int, Quantity(units.TIME, at_least="10 ms", at_most="60 s")]
Lateness = Annotated[int, Quantity(units.TIME, at_least="0 s", at_most="60 s")]
Frequency = Annotated[Decimal, Quantity(units.FREQUENCY, above="0 Hz", at_most="1 kHz")]
Fraction = Annotated[Decimal, Quantity(units.RATIO, at_least="0 %", at_most="100 %")]
SmallFraction = Annotated[Decimal, Quantity(units.RATIO, at_least="-40 %", at_most="40 %")]
SignedFraction = Annotated[Decimal, Quantity(units.RATIO, at_least="-100 %", at_most="100 %")]
Output = Annotated[Decimal, Quantity(units.OUTPUT, above="0 mV/V", at_most="100 mV/V")]
SignedOutput = Annotated[Decimal, Quantity(units.OUTPUT, at_least="-100 mV/V", at_most="100 mV/V")]
Voltage = Annotated[Decimal, Quantity(units.VOLTAGE, above="0 V", at_most="50 V")]
Resistance = Annotated[Decimal, Quantity(units.RESISTANCE, above="0 ohm", at_most="1 Gohm")]
LeadResistance = Annotated[Decimal, Quantity(units.RESISTANCE, at_least="0 ohm", at_most="10 kohm")]
Speed = Annotated[Decimal, Quantity(units.SPEED, above="0 m/s", at_most="200 km/h")]
Acceleration = Annotated[Decimal, Quantity(units.ACCELERATION, above="0 m/s2", at_most="100 m/s2")]
Gravity = Annotated[Decimal, Quantity(units.ACCELERATION, at_least="1 m/s2", at_most="30 m/s2")]
Stiffness = Annotated[Decimal, Quantity(units.STIFFNESS, above="0 N/m", at_most="1000000 kN/mm")]
SpringFrequency = Annotated[Decimal, Quantity(units.FREQUENCY, at_least="0 Hz", at_most="20 Hz")]
SpringDamping = Annotated[Decimal, Quantity(units.RATIO, at_least="3 %", at_most="95 %")]
CentreHeight = Annotated[Decimal, Quantity(units.LENGTH, at_least="0 m", at_most="10 m")]
Pace = Annotated[Decimal, Quantity(units.FREQUENCY, at_least="0.1 Hz", at_most="10 Hz")]
TremorBandwidth = Annotated[Decimal, Quantity(units.FREQUENCY, at_least="0 Hz", at_most="100 Hz")]
Area = Annotated[Decimal, Quantity(units.AREA, at_least="-10000 m2", at_most="10000 m2")]
Angle = Annotated[Decimal, Quantity(units.ANGLE, at_least="-90 °", at_most="90 °")]
Height = Annotated[Decimal, Quantity(units.LENGTH, at_least="-500 m", at_most="9 km")]
SupportHeight = Annotated[Decimal, Quantity(units.LENGTH, at_least="-100 mm", at_most="100 mm")]
MassRate = Annotated[Decimal, Quantity(units.MASS_RATE, above="0 kg/s", at_most="10000 kg/s")]
Temperature = Annotated[Decimal, Quantity(units.TEMPERATURE, at_least="-60 °C", at_most="90 °C")]
PerKelvin = Annotated[Decimal, Quantity(units.PER_KELVIN, at_least="-10 %/K", at_most="10 %/K")]
ClockError = Annotated[Decimal, Quantity(units.RATIO, at_least="-5000 ppm", at_most="5000 ppm")]
NoiseFigure = Annotated[Noise, NoiseKind()]
BatteryVoltage = Annotated[Decimal, Quantity(units.VOLTAGE, at_least="0 V", at_most="1000 V")]
Warmer = Annotated[Decimal, Quantity(units.TEMPERATURE_DIFFERENCE, at_least="-100 K", at_most="100 K")]
Occurrence = Annotated[Decimal, Quantity(units.OCCURRENCE, above="0 /h", at_most="10 /s")]
Position = Annotated[Spot, SpotKind()]
AlongDeck = Annotated[float | None, Along()]
Reach = Annotated[Decimal, Quantity(units.LENGTH, above="0 m", at_most="100 km")]
RadioFrequency = Annotated[Decimal, Quantity(units.FREQUENCY, at_least="1 MHz", at_most="100 GHz")]
Bandwidth = Annotated[Decimal, Quantity(units.FREQUENCY, at_least="100 Hz", at_most="1 GHz")]
DataRate = Annotated[Decimal, Quantity(units.DATA_RATE, at_least="50 bit/s", at_most="1000 Mbit/s")]
PowerLevel = Annotated[Decimal, Quantity(POWER_LEVEL, at_least="-200 dBm", at_most="100 dBm")]
Decibels = Annotated[Decimal, Quantity(DECIBELS, at_least="-100 dB", at_most="100 dB")]
PositiveDecibels = Annotated[Decimal, Quantity(DECIBELS, at_least="0 dB", at_most="100 dB")]
OnOff = Annotated[bool, Switch()]
