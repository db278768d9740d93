"""The converter's filter beside scipy.signal: impulse, step, frequency response, and block edges."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from benchsim.ground.errors import BadInput
from benchsim.scale.filters import STAGES, box_for, filtered, moving_sum, reach, settles_after, stages

NAMES = sorted(STAGES)


def taps(name: str, box: int) -> NDArray[np.float64]:
    """The filter as one set of coefficients: boxes convolved."""
    whole = np.ones(1)
    for _ in range(int(name[-1]) if name != "none" else 0):
        whole = signal.convolve(whole, np.full(box, 1.0 / box), method="direct")
    return np.asarray(whole)


def run(values: NDArray[np.float64], name: str, box: int) -> NDArray[np.float64]:
    """Output beside each input, from rest at 0."""
    return filtered(np.concatenate([np.zeros(reach(name, box)), values]), name, box)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("box", [1, 2, 3, 8, 13])
def test_impulse_and_step_are_those_of_scipy(name: str, box: int) -> None:
    impulse, step = np.zeros(80), np.ones(80)
    impulse[0] = 1.0
    for values in (impulse, step):
        assert run(values, name, box) == pytest.approx(
            signal.lfilter(taps(name, box), [1.0], values), abs=1e-14
        )


@pytest.mark.parametrize("name", NAMES[1:])
@pytest.mark.parametrize("box", [4, 5])
def test_the_frequency_response_is_a_power_of_the_periodic_sinc(name: str, box: int) -> None:
    """|H| = |sin(pi f M) / (M sin(pi f))|^n, with zeros at multiples of rate / M."""
    frequency = np.linspace(0.001, 0.499, 300)
    t = np.arange(600)
    expected = np.abs(np.sin(np.pi * frequency * box) / (box * np.sin(np.pi * frequency))) ** stages(name)
    found = []
    for f in frequency:
        wave = filtered(np.stack([np.cos(2 * np.pi * f * t), np.sin(2 * np.pi * f * t)]), name, box)
        found.append(np.hypot(wave[0, -1], wave[1, -1]))
    assert found == pytest.approx(expected, abs=1e-9)
    _, response = signal.freqz(taps(name, box), worN=2 * np.pi * frequency)
    assert found == pytest.approx(np.abs(response), abs=1e-9)


@given(box=st.integers(1, 40), values=st.lists(st.integers(-(10**9), 10**9), min_size=40, max_size=90))
def test_a_moving_sum_is_the_sum_of_its_neighbours(box: int, values: list[int]) -> None:
    expected = [sum(values[i : i + box]) for i in range(len(values) - box + 1)]
    assert moving_sum(np.array(values, np.float64), box).tolist() == expected


@given(
    name=st.sampled_from(NAMES),
    box=st.integers(1, 9),
    cut=st.integers(0, 60),
    seed=st.integers(0, 99),
)
def test_a_block_edge_does_not_show_in_a_single_bit(name: str, box: int, cut: int, seed: int) -> None:
    before = reach(name, box)
    values = np.random.Generator(np.random.SFC64(seed)).standard_normal((3, before + 60))
    whole = filtered(values, name, box)
    if cut:
        assert np.array_equal(filtered(values[:, : before + cut], name, box), whole[:, :cut])
    if cut < 60:
        assert np.array_equal(filtered(values[:, cut:], name, box), whole[:, cut:])


def test_an_unknown_filter_names_the_nearest() -> None:
    with pytest.raises(BadInput, match="did you mean 'sinc3'"):
        stages("sync3")


@pytest.mark.parametrize(
    ("rate_hz", "notch", "box"),
    [
        (80, "50", 8),
        (80, "60", 4),
        (100, "50", 2),
        (120, "60", 2),
        (50, "16.7", 500),
        (80, "16", 5),
        (400, "50", 8),
    ],
)
def test_the_box_for_a_notch_takes_it_away_by_scipy_s_response(rate_hz: int, notch: str, box: int) -> None:
    hz = Fraction(notch)
    assert box_for(rate_hz, hz, 1000) == box
    for order in (1, 3):
        _, gain = signal.freqz(taps(f"sinc{order}", box), worN=[2 * np.pi * float(hz) / rate_hz])
        assert abs(gain[0]) < 1e-12
    angle = [2 * np.pi * float(hz) / rate_hz]
    assert all(abs(signal.freqz(taps("sinc1", m), worN=angle)[1][0]) > 1e-6 for m in range(2, box))


def test_there_is_no_box_for_the_rate_itself_nor_for_one_that_would_be_too_long() -> None:
    assert box_for(50, Fraction(50), 64) is None
    assert box_for(50, Fraction(100), 64) is None
    assert box_for(80, Fraction("49.9"), 64) is None


@pytest.mark.parametrize("name", NAMES)
def test_a_step_is_through_after_so_many_samples_and_not_before(name: str) -> None:
    box = 5
    step = run(np.ones(60), name, box)
    settled = settles_after(name, box)
    assert step[settled - 1] == pytest.approx(1.0, abs=1e-12)
    assert settled == 1 or step[settled - 2] < 1.0 - 1e-4
