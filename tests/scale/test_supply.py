"""What feeds a node: the curve of a battery, its brown-out, and a node at the edge of its supply."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from benchsim.scale.supply import BATTERY, DISCHARGE, RESTS_US, RUNS_US, Supply

HOUR_US = 3_600_000_000
S = 1_000_000


def test_the_mains_carries_for_ever() -> None:
    mains = Supply()
    assert all(mains.carries(t) for t in (0, S, 10_000 * HOUR_US))
    assert (mains.drains, mains.is_low(0)) == (False, False)
    assert mains.load_v(0) == pytest.approx(11.7)


def test_a_battery_empties_along_its_curve() -> None:
    battery = Supply(BATTERY, lasts_h=100.0)
    charge, share = zip(*DISCHARGE, strict=True)
    for hours in np.linspace(0.0, 100.0, 41):
        expected = 12.0 * np.interp(1.0 - hours / 100.0, charge, share)
        assert battery.rest_v(round(hours * HOUR_US)) == pytest.approx(expected, abs=1e-9)
    assert battery.rest_v(500 * HOUR_US) == pytest.approx(9.0)


def test_a_voltage_never_rises_by_itself() -> None:
    battery = Supply(BATTERY, lasts_h=10.0)
    volts = [battery.load_v(n * HOUR_US // 60) for n in range(700)]
    assert all(later <= earlier for earlier, later in pairwise(volts))


def test_a_node_on_a_battery_runs_then_flickers_then_starts_and_stops_then_is_dark() -> None:
    battery = Supply(BATTERY, lasts_h=1.0)
    states = []
    for t in range(0, 2 * HOUR_US, S):
        state = "edge" if battery.is_at_its_edge(t) else "low" if battery.is_low(t) else "well"
        states.append(state if battery.carries(t) or state == "edge" else "dark")
    order = [s for n, s in enumerate(states) if n == 0 or states[n - 1] != s]
    assert order == ["well", "low", "edge"]  # at rest it keeps just its brown-out voltage
    assert Supply(BATTERY, charge=0.0, nominal_v=11.0).carries(0) is False


def test_at_the_edge_a_node_runs_in_the_share_of_time_it_starts_for() -> None:
    weak = Supply(drop_v=4.0)
    runs = [weak.carries(t) for t in range(0, 50 * S, S // 10)]
    assert sum(runs) / len(runs) == pytest.approx(RUNS_US / (RUNS_US + RESTS_US), abs=0.01)
    assert not Supply(nominal_v=8.0).carries(0)
