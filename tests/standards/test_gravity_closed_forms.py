"""Gravity: the WGS84 normal formula's published values, and what they do to a weight."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Place
from benchsim.scale.parts import Cell, Site
from benchsim.scale.site import normal_gravity_m_per_s2, weight_factor
from tests.scale.made import S, one_cell, output_mv_per_v, scale


@pytest.mark.parametrize(
    ("latitude_deg", "g_m_per_s2"),
    [
        (0.0, 9.7803253359),
        (30.0, 9.7932472692),
        (45.0, 9.8061977693),
        (52.0, 9.8124740779),
        (60.0, 9.8191769531),
        (90.0, 9.8321849378),
    ],
)
def test_normal_gravity_is_that_of_wgs84(latitude_deg: float, g_m_per_s2: float) -> None:
    """WGS84 at the equator and the poles; between them Somigliana's formula."""
    assert normal_gravity_m_per_s2(latitude_deg) == pytest.approx(g_m_per_s2, abs=1e-10)
    assert normal_gravity_m_per_s2(-latitude_deg) == normal_gravity_m_per_s2(latitude_deg)


@pytest.mark.parametrize(
    ("latitude_deg", "height_m", "g_m_per_s2"),
    [(45.0, 100.0, 9.80588922), (45.0, 1000.0, 9.80311294), (0.0, 1000.0, 9.77723837)],
)
def test_gravity_falls_with_height(latitude_deg: float, height_m: float, g_m_per_s2: float) -> None:
    assert normal_gravity_m_per_s2(latitude_deg, height_m) == pytest.approx(g_m_per_s2, abs=6e-9)


def test_from_equator_to_pole_a_weight_grows_by_5302_ppm() -> None:
    site = Site(
        gravity_m_per_s2=normal_gravity_m_per_s2(90.0),
        calibration_gravity_m_per_s2=normal_gravity_m_per_s2(0.0),
    )
    assert 1e6 * (weight_factor(site) - 1.0) == pytest.approx(5302.0, abs=0.5)


def test_a_scale_set_at_45_degrees_reads_997_362_kg_for_a_tonne_at_the_equator() -> None:
    site = Site(
        gravity_m_per_s2=normal_gravity_m_per_s2(0.0),
        calibration_gravity_m_per_s2=normal_gravity_m_per_s2(45.0),
    )
    made = scale(one_cell(Cell(2_000.0), site=site))
    made.do(Place("weight", 1_000.0, 4.0, 1.5), 0)
    reads_kg = output_mv_per_v(made.read(0, S))[-1, 0] / 2.0 * 2_000.0
    assert reads_kg == pytest.approx(997.362, abs=5e-4)
