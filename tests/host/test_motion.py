"""Windows and equilibrium against a plain loop over the same numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.commands import Record
from benchsim.host.motion import over_windows, spread
from tests.host.feed import Rig

weights = st.lists(st.integers(-50, 50), min_size=1, max_size=60)


@given(weights, st.integers(1, 70))
def test_a_window_has_the_extremes_of_a_plain_loop(values: list[int], width: int) -> None:
    array = np.array(values, dtype=np.int64)
    runs = [values[k : k + width] for k in range(len(values) - width + 1)]
    assert over_windows(np.maximum, array, width).tolist() == [max(run) for run in runs]
    assert over_windows(np.minimum, array, width).tolist() == [min(run) for run in runs]


@given(weights, st.integers(1, 20), st.integers(0, 60), st.integers(0, 60), st.data())
def test_stable_is_what_a_plain_loop_says(
    values: list[int], width: int, band: int, settled: int, data: st.DataObject
) -> None:
    end = data.draw(st.integers(-1, len(values) - 1))
    shown = data.draw(st.integers(-60, 60))
    since = data.draw(st.lists(st.integers(0, 9), min_size=len(values), max_size=len(values)))
    now = data.draw(st.integers(0, 9))
    run = range(end - width + 1, end + 1)
    there = end >= width - 1 and all(since[k] <= now for k in run)
    expected = there and all(abs(values[k] - shown) <= band for k in run)
    if there:
        stretch = values[run.start : run.stop]
        half = max(1, width // 2)
        newer, older = sum(stretch[-half:]), sum(stretch[:half])
        expected = expected and abs(newer - older) <= settled * half
    seen = spread(
        np.array(values, dtype=np.int64),
        np.array(since, dtype=np.int64),
        width,
        np.array([end]),
        np.array([now], dtype=np.int64),
    )
    assert seen.within(np.array([shown], dtype=np.int64), band, settled).tolist() == [expected]


def test_an_oscillation_that_the_mean_hides_is_motion_all_the_same() -> None:
    """A whole number of periods in the mean: the figure stands still, the load does not."""
    rig = Rig()
    rig.put(10_000.0, lambda t_us: 200.0 if (t_us // 100_000) % 2 else -200.0)
    shown = rig.wait(4.0)[10:]
    assert {i.gross_d for i in shown} == {500}
    assert all(i.motion for i in shown)
    assert not rig.ask(Record()).done
