"""What gravity does to a weight, with the WGS84 values of normal gravity."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Place
from benchsim.scale.parts import Cell, Site
from benchsim.scale.site import normal_gravity_m_per_s2
from tests.scale.made import S, one_cell, output_mv_per_v, scale

# WGS84 normal gravity in m/s2: equator and pole are defined, 45 and 52 degrees by Somigliana's formula.
EQUATOR, AT_45, POLE = 9.7803253359, 9.8061977693, 9.8321849378
# 52 degrees at 100 m, and 39.74 degrees at 1 609 m, with the second-order development in height.
AT_52_100_M, AT_39_74_1609_M = 9.8121656, 9.7965021


@pytest.mark.parametrize(
    ("set_at", "used_at", "load_kg", "reads_kg"),
    [
        (AT_45, EQUATOR, 1_000.0, 997.362),
        (EQUATOR, POLE, 1_000.0, 1_005.302),
        (AT_52_100_M, AT_39_74_1609_M, 30_000.0, 29_952.11),
    ],
)
def test_a_scale_that_moved_reads_true_times_the_ratio_of_gravities(
    set_at: float, used_at: float, load_kg: float, reads_kg: float
) -> None:
    """Indication = true x g_use / g_cal."""
    site = Site(gravity_m_per_s2=used_at, calibration_gravity_m_per_s2=set_at)
    made = scale(one_cell(Cell(40_000.0), site=site))
    made.do(Place("weight", load_kg, 4.0, 1.5), 0)
    found_kg = output_mv_per_v(made.read(0, S))[-1, 0] / 2.0 * 40_000.0
    assert found_kg == pytest.approx(reads_kg, abs=2e-7 * load_kg + 5e-4)
    assert found_kg != pytest.approx(load_kg, abs=1.0)


def test_where_it_was_set_it_reads_true() -> None:
    made = scale(
        one_cell(Cell(40_000.0), site=Site(gravity_m_per_s2=EQUATOR, calibration_gravity_m_per_s2=EQUATOR))
    )
    made.do(Place("weight", 1_000.0, 4.0, 1.5), 0)
    assert output_mv_per_v(made.read(0, S))[-1, 0] / 2.0 * 40_000.0 == pytest.approx(1_000.0, abs=1e-4)


@pytest.mark.parametrize(
    ("latitude_deg", "height_m", "gravity"),
    [
        (0.0, 0.0, 9.7803253359),
        (30.0, 0.0, 9.7932472692),
        (45.0, 0.0, 9.8061977693),
        (52.0, 0.0, 9.8124740779),
        (-60.0, 0.0, 9.8191769531),
        (90.0, 0.0, 9.8321849378),
        (45.0, 100.0, 9.80588922),
        (45.0, 1_000.0, 9.80311294),
        (0.0, 1_000.0, 9.77723837),
    ],
)
def test_normal_gravity_is_that_of_wgs84(latitude_deg: float, height_m: float, gravity: float) -> None:
    """Equator and pole are defined; the rest are computed from the published constants."""
    assert normal_gravity_m_per_s2(latitude_deg, height_m) == pytest.approx(
        gravity, abs=6e-9 if height_m else 6e-10
    )


def test_height_is_of_second_order_to_the_digits_that_are_given() -> None:
    assert normal_gravity_m_per_s2(52.0, 100.0) == pytest.approx(AT_52_100_M, abs=6e-8)
    assert normal_gravity_m_per_s2(39.74, 1_609.0) == pytest.approx(AT_39_74_1609_M, abs=8e-8)


def test_going_up_takes_what_the_free_air_gradient_says() -> None:
    """About -3.086e-6 per m, the textbook free-air gradient (memory)."""
    lost = normal_gravity_m_per_s2(45.0, 0.0) - normal_gravity_m_per_s2(45.0, 1.0)
    assert lost == pytest.approx(3.086e-6, abs=5e-9)
