"""The converter: noise, mains, stops, stuck bits, reference."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from benchsim.ground.commands import Place
from benchsim.ground.readings import ChannelStatus, Counts
from benchsim.scale.digitiser import figures
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Wiring
from tests.scale.made import S, one_cell, parts, scale

CELL = Cell(30_000.0)


def counts(digitiser: Digitiser, seconds: int = 1250, seed: int = 1) -> NDArray[np.int32]:
    """One unloaded cell's codes."""
    return scale(one_cell(CELL, digitiser), seed).read(0, seconds * S).counts[:, 0]


def reading(made: ScaleParts) -> Counts:
    return scale(made).read(0, S)


def test_noise_given_in_counts_has_that_rms_and_normal_tails() -> None:
    """100 000 samples: RMS within 4 standard errors, shape by scipy's Kolmogorov-Smirnov and kurtosis."""
    sigma = 200.0
    found = counts(Digitiser(noise_rms_counts=sigma)) / sigma
    n = len(found)
    assert n == 100_000
    assert found.std() == pytest.approx(1.0, abs=4.0 / math.sqrt(2 * n))
    assert found.mean() == pytest.approx(0.0, abs=4.0 / math.sqrt(n))
    assert stats.kstest(found[::10], "norm").pvalue > 0.001
    assert stats.kurtosis(found) == pytest.approx(0.0, abs=4.0 * math.sqrt(24 / n))
    for limit in (2.0, 3.0):
        share = 2.0 * stats.norm.sf(limit)
        beyond = int((np.abs(found) > limit).sum())
        assert beyond == pytest.approx(share * n, abs=4.0 * math.sqrt(share * n) + 0.01 * share * n)
    assert 3.9 < np.abs(found).max() < 6.5


def test_neighbouring_samples_and_neighbouring_cells_have_nothing_in_common() -> None:
    block = scale(parts(digitiser=Digitiser(noise_rms_counts=100.0))).read(0, 500 * S).counts
    both = [np.corrcoef(block[:, 0], block[:, 1])[0, 1], np.corrcoef(block[:-1, 0], block[1:, 0])[0, 1]]
    assert both == pytest.approx([0.0, 0.0], abs=4.0 / math.sqrt(len(block)))


def test_noise_density_gives_the_rms_of_half_the_rate() -> None:
    """40 nV/rtHz over 40 Hz is 253 nV; at 5 V that is 50.6e-6 mV/V, 106 counts of 24 bits over 4 mV/V."""
    found = counts(Digitiser(noise_density_v_per_rthz=40e-9))
    assert found.std() == pytest.approx(40e-9 * math.sqrt(40.0) * 1000.0 / 5.0 * 2**23 / 4.0, rel=0.01)


@pytest.mark.parametrize("name", ["sinc1", "sinc3"])
def test_a_filter_takes_from_density_noise_what_its_coefficients_say(name: str) -> None:
    """White noise comes out with sigma * sqrt(sum of squared coefficients)."""
    box, order = 8, int(name[-1])
    taps = np.ones(1)
    for _ in range(order):
        taps = signal.convolve(taps, np.full(box, 1.0 / box))
    plain = Digitiser(noise_density_v_per_rthz=200e-9)
    found = counts(replace(plain, filter=name, filter_samples=box))
    expected = figures(plain).noise_before * math.sqrt(float((taps**2).sum()))
    assert found.std() == pytest.approx(expected, rel=0.02)
    assert np.abs(found[:4]).max() > 0.0  # the filter is full of noise from the first sample on


@pytest.mark.parametrize(("mains_hz", "alias_hz"), [(50.0, 30.0), (60.0, 20.0), (49.9, 30.1), (81.0, 1.0)])
def test_mains_appears_at_its_alias_frequency_with_its_amplitude(mains_hz: float, alias_hz: float) -> None:
    """At 80 Hz a wave of f appears at |f - 80 k|: 50 Hz at 30 Hz."""
    made = Digitiser(bits=32, pickup_mv_per_v=0.01, pickup_hz=mains_hz)
    found = counts(made, seconds=100) / 2.0**31 * 4.0
    spectrum = np.abs(np.fft.rfft(found)) / len(found) * 2.0
    place = int(np.argmax(spectrum))
    assert place * 80.0 / len(found) == pytest.approx(alias_hz, abs=1e-9)
    assert spectrum[place] == pytest.approx(0.01, rel=1e-3)


def test_the_phase_of_mains_is_exact_after_any_time() -> None:
    """50 Hz and 80 Hz meet every 8 samples: an hour later the pattern is the same to the last count."""
    found = counts(Digitiser(bits=32, pickup_mv_per_v=0.1), seconds=3600)
    assert np.array_equal(found[:8], found[-8:])
    expected = np.sin(2 * np.pi * 50.0 * np.arange(1, 9) / 80.0)
    assert found[:8] / 2.0**31 * 4.0 / 0.1 == pytest.approx(expected, abs=1e-3)


def test_a_box_of_one_mains_period_takes_mains_away() -> None:
    """50 Hz at 80 Hz: 8 samples hold 5 whole periods, a zero of the box."""
    bare = Digitiser(pickup_mv_per_v=0.1)
    assert np.ptp(counts(bare, 10)) > 100_000
    assert np.ptp(counts(replace(bare, filter="sinc1", filter_samples=8), 10)) <= 100


@pytest.mark.parametrize(
    ("mv", "code", "status"),
    [
        (4.1, 2**23 - 1, ChannelStatus.HIGH),
        (3.9, round(3.9 / 4.0 * 2**23), ChannelStatus.GOOD),
        (-3.9, round(-3.9 / 4.0 * 2**23), ChannelStatus.GOOD),
        (-4.1, -(2**23), ChannelStatus.LOW),
    ],
)
def test_beyond_its_range_a_code_stands_at_the_stop_and_says_so(
    mv: float, code: int, status: ChannelStatus
) -> None:
    block = reading(one_cell(replace(CELL, zero_balance_mv_per_v=mv), Digitiser()))
    assert set(block.counts[:, 0].tolist()) == {code}
    assert set(block.status[:, 0].tolist()) == {int(status)}


def test_an_open_signal_lead_says_open_and_which_stop() -> None:
    high = reading(one_cell(CELL, Digitiser(), Wiring(open=("SIG+",))))
    low = reading(one_cell(CELL, Digitiser(), Wiring(open=("SIG-",))))
    assert (high.counts[0, 0], high.status[0, 0]) == (2**23 - 1, ChannelStatus.OPEN | ChannelStatus.HIGH)
    assert (low.counts[0, 0], low.status[0, 0]) == (-(2**23), ChannelStatus.OPEN | ChannelStatus.LOW)


def test_a_lost_excitation_says_reference_on_six_wires_only() -> None:
    six = reading(one_cell(CELL, Digitiser(), Wiring(open=("EXC+",))))
    four = reading(one_cell(CELL, Digitiser(), Wiring(sensed=False, open=("EXC+",))))
    assert set(six.status[:, 0].tolist()) == {int(ChannelStatus.REFERENCE)}
    assert set(four.status[:, 0].tolist()) == {0}
    assert set(four.counts[:, 0].tolist()) == {0}


def test_only_the_channel_with_the_fault_says_so() -> None:
    healthy = parts(digitiser=Digitiser())
    wiring = (healthy.wiring[0], Wiring(open=("SIG+",)), *healthy.wiring[2:])
    status = reading(replace(healthy, wiring=wiring)).status
    assert (status.max(axis=0) > 0).tolist() == [False, True, False, False]


def test_bits_that_do_not_move_make_a_staircase() -> None:
    found = counts(Digitiser(noise_rms_counts=500.0, stuck_bits=7), 100)
    assert set((found % 128).tolist()) == {0}
    assert len(set(found.tolist())) > 10


@pytest.mark.parametrize("error", [0.01, -0.02])
def test_a_wrong_reference_divides_every_reading(error: float) -> None:
    def at(reference_error: float) -> float:
        made = scale(one_cell(CELL, Digitiser(bits=32, reference_error=reference_error)))
        made.do(Place("load", 15_000.0, 4.0, 1.5), 0)
        return float(made.read(0, 2 * S).counts[-1, 0])

    assert at(error) / at(0.0) == pytest.approx(1.0 / (1.0 + error), rel=1e-7)


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
def test_any_resolution_spans_the_same_range(bits: int) -> None:
    block = reading(one_cell(replace(CELL, zero_balance_mv_per_v=2.0), Digitiser(bits=bits)))
    assert block.counts.dtype == np.int32
    assert block.counts[0, 0] == 2 ** (bits - 2)


def test_a_converter_shows_a_common_mode_at_a_rail_by_its_rejection() -> None:
    """Four conductors, EXC- open: both inputs half the excitation off the middle; 80 dB leave 1e-4 of it."""
    poor = Digitiser(bits=32, common_mode_error=1e-4)
    found = reading(one_cell(CELL, poor, Wiring(sensed=False, open=("EXC-",)))).counts[-1, 0]
    assert found / poor.counts_per_mv_per_v == pytest.approx(500.0 * 1e-4, abs=1e-8)
