"""A converter's channels and its box: turns, what is stuck or missing, saturation, offset, warmth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from benchsim.ground.commands import Axle, Drive, Place, Remove
from benchsim.ground.readings import ChannelStatus
from benchsim.scale.node_warmth import warmed
from benchsim.scale.parts import Cell, Digitiser, ScaleParts
from tests.scale.made import S, one_cell, parts, scale

CELL = Cell(30_000.0)
FINE = Digitiser(bits=32)


def passing(digitiser: Digitiser, rows: int | None = None) -> NDArray[np.int32]:
    """Codes of four cells while an axle rolls over the deck, read at once or so many samples at a time."""
    made = scale(parts(digitiser=digitiser))
    made.do(Drive("axle", (Axle(5_000.0, 0.0),), 2.0, 4.0, 1.5, 0), 0)
    if rows is None:
        return made.read(0, 6 * S).counts
    blocks = [made.read(0, t).counts for t in range(12_500 * rows, 6 * S + 1, 12_500 * rows)]
    return np.concatenate(blocks)


def test_channels_in_turn_are_each_late_by_its_place_while_the_load_moves() -> None:
    """5 ms from one to the next: linear interpolation between samples 12.5 ms apart, by NumPy."""
    at_once, in_turn = passing(FINE), passing(replace(FINE, skew_us=5_000))
    t = np.arange(len(at_once)) * 12.5
    assert np.abs(at_once - in_turn).max() > 10_000
    for channel, late_ms in enumerate((12.5, 10.0, 5.0, 0.0)):  # never longer than a sample
        expected = np.interp(t - late_ms, t, at_once[:, channel])
        assert in_turn[1:, channel] == pytest.approx(expected[1:], abs=2)


def test_channels_in_turn_agree_when_the_load_stands() -> None:
    def at_rest(digitiser: Digitiser) -> list[int]:
        made = scale(parts(digitiser=digitiser))
        made.do(Place("load", 5_000.0, 2.0, 1.0), 0)
        last: list[int] = made.read(0, 12 * S).counts[-1].tolist()
        return last

    assert at_rest(replace(FINE, skew_us=5_000)) == pytest.approx(at_rest(FINE), abs=2)


DAMAGED = replace(
    Digitiser(noise_rms_counts=50.0), skew_us=4_000, frozen=(1,), missing=(2,), offset_mv_per_v=0.01,
    input_range_mv_per_v=0.3, filter="sinc3", filter_samples=4, pickup_mv_per_v=0.01,
)  # fmt: skip


@pytest.mark.parametrize("rows", [1, 3, 40])
def test_no_block_s_edge_shows(rows: int) -> None:
    assert np.array_equal(passing(DAMAGED, rows), passing(DAMAGED))


def changed_at_2_s(digitiser: Digitiser) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    healthy = parts(digitiser=Digitiser(noise_rms_counts=50.0))
    made = scale(healthy)
    made.change(replace(healthy, stations=(replace(healthy.stations[0], digitiser=digitiser),)), 2 * S)
    block = made.read(0, 4 * S)
    return block.counts, block.status


def test_a_frozen_channel_repeats_its_last_code_and_says_that_it_is_good() -> None:
    counts, status = changed_at_2_s(Digitiser(noise_rms_counts=50.0, frozen=(1,)))
    assert len(set(counts[:160, 1].tolist())) > 20
    assert set(counts[160:, 1].tolist()) == {int(counts[159, 1])}
    assert len(set(counts[160:, 0].tolist())) > 20
    assert not status.any()


def test_a_missing_channel_gives_nothing_and_says_so() -> None:
    counts, status = changed_at_2_s(Digitiser(noise_rms_counts=50.0, missing=(3,)))
    assert set(counts[160:, 3].tolist()) == {0}
    assert set(status[160:, 3].tolist()) == {int(ChannelStatus.OPEN)}
    assert not status[:, :3].any()


def test_an_input_that_saturates_goes_level_without_a_word() -> None:
    made = scale(one_cell(CELL, replace(FINE, input_range_mv_per_v=0.5)))
    made.do(Place("load", 25_000.0, 4.0, 1.5), 0)
    block = made.read(0, 3 * S)
    assert block.counts[-1, 0] / FINE.counts_per_mv_per_v == pytest.approx(0.5, abs=1e-8)
    assert not block.status.any()


def test_an_offset_is_added_loaded_and_empty() -> None:
    def readings(offset: float) -> list[float]:
        made = scale(one_cell(CELL, replace(FINE, offset_mv_per_v=offset)))
        empty = made.read(0, S).counts[-1, 0]
        made.do(Place("load", 15_000.0, 4.0, 1.5), S)
        loaded = made.read(0, 4 * S).counts[-1, 0]
        return [empty / FINE.counts_per_mv_per_v, loaded / FINE.counts_per_mv_per_v]

    shift = np.subtract(readings(0.02), readings(0.0))
    assert shift == pytest.approx([0.02, 0.02], abs=1e-8)


def test_a_warm_box_moves_reference_offset_and_clock_in_straight_lines() -> None:
    made = Digitiser(
        reference_error=0.001, clock_error_ppm=5.0, self_heating_k=10.0,
        reference_effect_per_k=2e-6, offset_effect_per_k=1e-5, clock_effect_per_k=-0.5,
    )  # fmt: skip
    warm = warmed(made, 40.0)  # 30 K above 20 C
    assert warm.reference_error == pytest.approx(0.001 + 60e-6)
    assert warm.offset_mv_per_v == pytest.approx(3e-4)
    assert warm.clock_error_ppm == pytest.approx(-10.0)
    assert warmed(made, 10.0) is made
    assert warmed(Digitiser(), 60.0) == Digitiser()


def test_the_site_s_temperature_reaches_the_converter() -> None:
    def at(temperature_c: float) -> float:
        made: ScaleParts = one_cell(CELL, replace(FINE, offset_effect_per_k=1e-4))
        made = replace(made, site=replace(made.site, temperature_c=temperature_c))
        return float(scale(made).read(0, S).counts[-1, 0]) / FINE.counts_per_mv_per_v

    assert at(45.0) - at(20.0) == pytest.approx(25e-4, abs=1e-8)


def test_white_noise_averages_down_as_allan_s_deviation_says() -> None:
    """Allan (1966): for white noise the two-sample deviation of means of n is sigma / sqrt(n)."""
    sigma = 300.0
    found = scale(one_cell(CELL, Digitiser(noise_rms_counts=sigma))).read(0, 1000 * S).counts[:, 0]
    for n in (1, 8, 64):
        means = found[: len(found) // n * n].reshape(-1, n).mean(axis=1)
        allan = np.sqrt(0.5 * np.mean(np.diff(means) ** 2))
        assert allan == pytest.approx(sigma / np.sqrt(n), rel=5.0 / np.sqrt(len(means)))


def test_noise_density_is_flat_and_what_was_asked_for() -> None:
    """Welch's estimate by SciPy at 5 V excitation: 40 nV/rtHz from 2 Hz to 38 Hz, within 5 %."""
    digitiser = Digitiser(noise_density_v_per_rthz=40e-9)
    found = scale(one_cell(CELL, digitiser)).read(0, 2000 * S).counts[:, 0]
    volts = found / digitiser.counts_per_mv_per_v * 1e-3 * digitiser.excitation_v
    hz, power = signal.welch(volts, fs=80.0, nperseg=256)
    density = np.sqrt(power[(hz > 2) & (hz < 38)])
    assert density.mean() == pytest.approx(40e-9, rel=0.02)
    assert density == pytest.approx(np.full_like(density, 40e-9), rel=0.15)


def test_a_step_of_the_load_takes_the_filter_s_own_time() -> None:
    """The settled share of a step through sinc3 of 8 is the running sum of its taps (scipy.signal)."""
    stiff = one_cell(CELL, FINE)
    stiff = replace(stiff, receptor=replace(stiff.receptor, natural_frequency_hz=5_000.0, damping_ratio=1.0))

    def step(filter_name: str) -> NDArray[np.float64]:
        station = replace(stiff.stations[0], digitiser=replace(FINE, filter=filter_name, filter_samples=8))
        made = scale(replace(stiff, stations=(station,)))
        made.do(Place("load", 15_000.0, 4.0, 1.5), S)
        made.do(Remove("load"), 3 * S)
        return made.read(0, 4 * S).counts[:, 0].astype(np.float64)

    taps = np.ones(1)
    for _ in range(3):
        taps = signal.convolve(taps, np.full(8, 1 / 8))
    bare, clean = step("none"), step("sinc3")
    expected = signal.lfilter(taps, [1.0], bare - bare[0]) + bare[0]
    assert clean[40:] == pytest.approx(expected[40:], abs=2)
