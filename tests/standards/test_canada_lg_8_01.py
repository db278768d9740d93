"""Canada, laboratory manual LG-8.01 (seen): printed gross, tare and net agree arithmetically.

50 t x 10 kg; internal 45 006 gross, 20 004 tare, 25 002 net.  Rounded one by one: 45 010, 20 000, 25 000,
which does not add up.
"""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Record, Tare
from benchsim.ground.rounding import shown
from tests.host.feed import Rig


@pytest.mark.parametrize("profile", ["hb44-iiil-vehicle", "r76-iii"])
def test_the_trap_adds_up(profile: str) -> None:
    it = Rig(profile, capacity="50000", interval="10")
    it.settle(20_004.0)
    assert it.ask(Tare()).done
    it.settle(45_006.0)
    recorded = it.ask(Record()).recorded
    assert recorded is not None
    printed = [int(shown(d, recorded.interval)) for d in (recorded.gross_d, recorded.tare_d, recorded.net_d)]
    assert printed[0] - printed[1] == printed[2]
    assert printed == [45_010, 20_000, 25_010]
    assert it.shows.text == "25010 kg"
