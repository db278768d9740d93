"""The node's clock in whole microseconds, exact."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from benchsim.scale.grid import Grid


@given(
    rate_hz=st.sampled_from([80.0, 10.0, 320.0, 7.0, 12.5, 1.0 / 3.0]),
    ppm=st.floats(-500.0, 500.0),
    start_us=st.integers(0, 10**9),
    t_us=st.integers(0, 10**11),
)
def test_a_node_clock_is_the_exact_fraction_rounded_to_even(
    rate_hz: float, ppm: float, start_us: int, t_us: int
) -> None:
    """Python's round of a Fraction is exact, half to even."""
    grid = Grid.begin(rate_hz, ppm, start_us)
    samples = Fraction((t_us - grid.base_us) * 1_000_000 - grid.offset_ps, grid.period_ps) + grid.before
    assert grid.node_time_us(t_us) == round(samples * 1_000_000 / Fraction(rate_hz))
