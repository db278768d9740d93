"""Where a scale stands, from the file: gravity by value or by latitude and height."""

from __future__ import annotations

import pytest

from benchsim.scale.parts import Site
from tests.scenario.texts import DECK, built, told


def site(text: str) -> Site:
    return built(DECK + f"site: {{{text}}}\n").plan.scale.site


def test_a_site_that_says_nothing_has_standard_gravity() -> None:
    assert site("temperature: 20 °C") == Site()


def test_gravity_goes_by_latitude_and_height() -> None:
    """WGS84: 52 degrees at 100 m, 39.74 degrees at 1609 m, computed from the published constants."""
    moved = site("latitude: 39.74 °, height: 1609 m, calibration latitude: 52 deg, calibration height: 100 m")
    assert moved.gravity_m_per_s2 == pytest.approx(9.7965021, abs=6e-8)
    assert moved.calibration_gravity_m_per_s2 == pytest.approx(9.8121656, abs=6e-8)
    assert 30_000 * moved.gravity_m_per_s2 / moved.calibration_gravity_m_per_s2 == pytest.approx(
        29_952.11, abs=0.005
    )


def test_a_scale_is_calibrated_where_it_stands_unless_the_file_says_otherwise() -> None:
    here = site("latitude: -30 °")
    assert (
        here.gravity_m_per_s2 == here.calibration_gravity_m_per_s2 == pytest.approx(9.7932472692, abs=6e-10)
    )
    high = site("height: 1 km")
    assert high.gravity_m_per_s2 == pytest.approx(9.80311294, abs=6e-9)  # at 45 degrees


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("gravity: 9.81 m/s2, latitude: 50 °", "s.yaml:5:28: latitude beside gravity; keep one of the two"),
        (
            "calibration gravity: 9.81 m/s2, calibration height: 5 m",
            "s.yaml:5:40: calibration height beside calibration gravity; keep one of the two",
        ),
        ("latitude: 95 °", "s.yaml:5:18: latitude: 95 ° is too large; at most 90 °"),
        ("latitude: 50", "s.yaml:5:18: latitude: '50' has no unit; write an angle, as '50 °'"),
    ],
)
def test_what_cannot_be_is_told_with_its_place(text: str, error: str) -> None:
    assert told(DECK + f"site: {{{text}}}\n") == [error]
