"""Noise-free counts and effective bits, beside the simulated codes and figures worked out elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy import stats

from benchsim.scale.parts import Cell, Digitiser
from benchsim.scale.resolution import (
    effective_bits,
    noise_free_bits,
    noise_free_counts,
    noise_rms_counts,
    rms_for,
)
from tests.scale.made import S, one_cell, scale


def test_peak_to_peak_is_what_holds_99_9_percent_of_normal_noise() -> None:
    """SciPy: 6.6 rms wide holds 0.99903; log2 of 6.6 is 2.72 bits."""
    assert stats.norm.cdf(3.3) - stats.norm.cdf(-3.3) == pytest.approx(0.99903, abs=1e-5)
    made = Digitiser(noise_rms_counts=100.0)
    assert effective_bits(made) - noise_free_bits(made) == pytest.approx(2.7225, abs=1e-4)


def test_a_span_of_10_mv_with_100_nv_peak_to_peak_is_100_000_counts_and_16_6_bits() -> None:
    """Worked by hand: log2(100 000) = 16.61.  At 5 V, 10 mV is 2 mV/V; 24 bits over it."""
    made = Digitiser(bits=24, full_scale_mv_per_v=1.0, excitation_v=5.0)  # -1 to 1 mV/V: 10 mV in all
    rms = 100e-9 / 6.6 / 10e-3 * 2**24
    noisy = replace(made, noise_rms_counts=rms)
    assert noise_free_counts(noisy) == pytest.approx(100_000, rel=1e-4)
    assert noise_free_bits(noisy) == pytest.approx(16.61, abs=0.005)
    assert rms_for(24, 100_000) == pytest.approx(rms, rel=1e-4)


@pytest.mark.parametrize("name", ["none", "sinc1", "sinc3"])
def test_the_noise_that_is_told_is_the_noise_that_comes_out(name: str) -> None:
    made = Digitiser(noise_density_v_per_rthz=100e-9, filter=name, filter_samples=8)
    codes = scale(one_cell(Cell(30_000.0), made)).read(0, 500 * S).counts[200:, 0]
    assert codes.std() == pytest.approx(noise_rms_counts(made), rel=0.03)


def test_a_converter_without_noise_has_what_rounding_leaves() -> None:
    """Bennett (1948): rounding to a step of 1 is noise of 1 / sqrt(12): its bits and 1.79 more."""
    assert noise_rms_counts(Digitiser()) == pytest.approx(1.0 / math.sqrt(12.0))
    assert effective_bits(Digitiser(bits=16)) == pytest.approx(16 + 0.5 * math.log2(12.0))
    assert rms_for(16, 1e9) == 0.0
