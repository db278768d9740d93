"""Quantities as people write them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground import units
from benchsim.ground.errors import BadInput


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("18.4 t", units.MASS, "18400"),
        ("20 kg", units.MASS, "20"),
        ("-5 g", units.MASS, "-0.005"),
        ("1 lb", units.MASS, "0.45359237"),  # exact by the international yard and pound agreement, 1959
        ("300 m", units.LENGTH, "300"),
        ("1.5 min", units.TIME, "90000000"),
        ("12500 us", units.TIME, "12500"),
        ("80 Hz", units.FREQUENCY, "80"),
        ("0.5 %", units.RATIO, "0.005"),
        ("50 ppm", units.RATIO, "0.00005"),
        ("2mV/V", units.OUTPUT, "2"),
        ("1e3 kg", units.MASS, "1000"),
        ("1_000 kg", units.MASS, "1000"),
        ("350 ohm", units.RESISTANCE, "350"),
        ("50 Mohm", units.RESISTANCE, "50000000"),
        ("20 °C", units.TEMPERATURE, "20"),
        ("12 K", units.TEMPERATURE_DIFFERENCE, "12"),
        ("12 °C", units.TEMPERATURE_DIFFERENCE, "12"),  # SI Brochure 9, 2.3.1 (memory): equal in size
    ],
)
def test_a_quantity_is_read_exactly(text: str, dimension: units.Dimension, value: str) -> None:
    assert units.parse(text, dimension) == Decimal(value)


def test_a_kelvin_is_no_unit_of_a_temperature_since_its_zero_is_another() -> None:
    with pytest.raises(BadInput) as caught:
        units.parse("20 K", units.TEMPERATURE)
    assert str(caught.value) == (
        "'20 K' is a temperature difference, not a temperature; units of temperature: °C, C"
    )


def test_five_kilometres_an_hour_are_five_thousand_metres_in_3600_seconds() -> None:
    assert abs(units.parse("5 km/h", units.SPEED) - Decimal(5000) / 3600) < Decimal("1e-25")


@pytest.mark.parametrize(
    ("text", "dimension", "part"),
    [
        ("20", units.MASS, "has no unit"),
        ("20 m", units.MASS, "is a length, not a mass"),
        ("5 m/s", units.ACCELERATION, "is a speed, not an acceleration"),
        ("20 kgs", units.MASS, "did you mean 'kg'?"),
        ("heavy", units.MASS, "is not a mass"),
        ("nan kg", units.MASS, "is not a mass"),
        ("inf kg", units.MASS, "is not a mass"),
        ("", units.TIME, "is not a time"),
        ("1e999999999999999999 kg", units.MASS, "out of any range"),
        ("1 2 kg", units.MASS, "unknown unit"),
    ],
)
def test_a_wrong_quantity_is_told_what_is_wrong(text: str, dimension: units.Dimension, part: str) -> None:
    with pytest.raises(BadInput) as caught:
        units.parse(text, dimension)
    assert part in str(caught.value)


@pytest.mark.parametrize("dimension", units.DIMENSIONS, ids=lambda d: d.name)
def test_the_example_in_a_message_is_itself_well_formed(dimension: units.Dimension) -> None:
    assert units.parse(units.example(dimension), dimension) > 0


@pytest.mark.parametrize(
    ("mass_kg", "text"),
    [(18400, "18.4 t"), (20, "20 kg"), (0, "0 kg"), (0.005, "5 g"), (-1500.5, "-1.5005 t")],
)
def test_a_mass_is_written_for_people(mass_kg: float, text: str) -> None:
    assert units.mass_text(mass_kg) == text
