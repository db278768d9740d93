"""The built-in ends as devices: they do the acts that they are asked for, and no others."""

from __future__ import annotations

import pytest

from benchsim.ground.randomness import Streams
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn, NodesStandIn

SETTING = Setting(key=bytes(range(16)))


@pytest.mark.parametrize("make", [HostStandIn, NodesStandIn])
@pytest.mark.parametrize("verb", ["pair", "release", "restart", "recommission", "state"])
@pytest.mark.parametrize("address", ["", "x", "0", "2", "-1", "1.0", "²", "9" * 5000])
def test_no_act_is_done_at_an_address_that_is_none(
    make: type[HostStandIn | NodesStandIn], verb: str, address: str
) -> None:
    device = make(SETTING, Streams(1))
    assert device.act(f"{verb} {address}", 0) is None
    assert device.act("state 1", 0) == "idle"


def test_each_end_does_its_own_acts() -> None:
    host, nodes = HostStandIn(SETTING, Streams(1)), NodesStandIn(SETTING, Streams(1))
    assert [host.act(f"{verb} 1", 0) for verb in ("pair", "recommission", "state")] == ["done", None, "seek"]
    assert [nodes.act(f"{verb} 1", 0) for verb in ("pair", "recommission", "state")] == [None, "done", "idle"]
