"""R 76-1 4.4.2 and A.4.12: stable equilibrium judged by what shows after a print-out (memory)."""

from __future__ import annotations

import math

import pytest

from benchsim.ground.commands import Record
from tests.host.feed import Rig

HALF_MAX_KG = 1_500.0


@pytest.mark.parametrize("frequency_hz", [0.7, 1.3, 2.5, 6.0])
@pytest.mark.parametrize("size_kg", [3.0, 40.0])
def test_over_the_5_s_after_a_print_out_at_most_two_neighbouring_values_show(
    frequency_hz: float, size_kg: float
) -> None:
    it = Rig("r76-iii", capacity="3000", interval="1", counts_per_kg=400.0)
    it.settle(HALF_MAX_KG + 0.1)
    disturbed_us = it.now_us

    def swing(t_us: int) -> float:
        t_s = (t_us - disturbed_us) * 1e-6
        return size_kg * math.exp(-0.4 * t_s) * math.sin(2 * math.pi * frequency_hz * t_s)

    it.put(HALF_MAX_KG + 0.1, swing)
    it.wait(0.3)
    while not (printed := it.ask(Record()).recorded):
        it.wait(0.1)
    after = {i.gross_d for i in it.wait(5.0)} | {printed.gross_d}
    assert max(after) - min(after) <= 1
