"""Coefficients from data sheets and from gravity, and what they carry."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchsim.ground.errors import BadInput
from benchsim.host.calibration_results import results_of
from benchsim.host.calibration_theory import SheetFigures, gravity_factor, theoretical
from benchsim.scale.nominal import nominal
from tests.bench.plans import scale_parts
from tests.host.calibrated import HandScale, bending, settings, walked


def test_a_cell_of_20_t_with_2_mv_per_v_on_a_24_bit_converter() -> None:
    """2^23 counts at 4 mV/V are 2 097 152 a mV/V: 20 000 kg / (2 * 2 097 152), worked out by hand."""
    found = theoretical([SheetFigures(20_000.0, 2.0, 2.0**23 / 4.0)])
    assert found.kg_per_count == pytest.approx((0.00476837158203125,), rel=1e-15)


def test_it_is_the_line_that_a_host_begins_with() -> None:
    parts = scale_parts(4)
    figures = [
        SheetFigures(c.e_max_kg, c.rated_output_mv_per_v, parts.stations[0].digitiser.counts_per_mv_per_v)
        for c in parts.cells
    ]
    assert theoretical(figures).kg_per_count == pytest.approx([k for k, _ in nominal(parts)], rel=1e-12)


@pytest.mark.parametrize("cells", [1, 4, 8])
def test_its_uncertainty_is_that_of_many_scales(cells: int) -> None:
    """Source: a Monte Carlo of rectangular tolerances (JCGM 101), 60 000 scales."""
    dice = np.random.default_rng(11)
    found = theoretical([SheetFigures(20_000.0, 2.0, 2e6, 0.0025, 0.0005)] * cells)
    outputs = 1.0 + 0.0025 * dice.uniform(-1, 1, (60_000, cells))
    converter = 1.0 + 0.0005 * dice.uniform(-1, 1, 60_000)
    errors = outputs.mean(axis=1) * converter - 1.0
    assert np.std(errors) == pytest.approx(found.standard, rel=0.02)
    assert np.abs(outputs[:, 0] * converter - 1.0).max() <= found.worst * (1 + 1e-3)


@pytest.mark.parametrize("figures", [(0.0, 2.0, 2e6), (1e4, -2.0, 2e6), (1e4, 2.0, math.nan)])
def test_figures_of_no_cell_are_refused(figures: tuple[float, float, float]) -> None:
    with pytest.raises(BadInput, match="cell 1: figures"):
        theoretical([SheetFigures(*figures)])
    with pytest.raises(BadInput, match="no cells"):
        theoretical([])


def test_a_scale_is_corrected_for_the_place_where_it_is_used() -> None:
    """Gravity by Somigliana's formula with GRS80 and WGS84 constants, computed outside: 9.8061977693 m/s2 at
    45 deg, 9.7803253359 at the equator.  Set at 45 deg and used there, 1 000 kg would read 997.362 kg.
    """
    factor = gravity_factor(9.8061977693, 9.7803253359)
    assert 1000.0 / factor == pytest.approx(997.362, abs=5e-4)
    state = walked(settings(), HandScale((0.0005,) * 4, bending(4)))
    moved = results_of(state, 9.8061977693, 9.7803253359)
    assert moved.kg_per_count == pytest.approx([0.0005 * factor] * 4, rel=1e-10)
    assert moved.gravity_factor == factor


@pytest.mark.parametrize("gravity", [0.0, 9.69, 9.91, 980.665, math.nan])
def test_gravity_of_no_place_is_refused(gravity: float) -> None:
    with pytest.raises(BadInput, match=r"from 9\.7 to 9\.9 m/s2"):
        gravity_factor(gravity, 9.81)
