"""The converter's filter beside scipy.signal: impulse, step, frequency response, and block edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from benchsim.ground.errors import BadInput
from benchsim.scale.filters import STAGES, filtered, moving_sum, reach, stages

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
