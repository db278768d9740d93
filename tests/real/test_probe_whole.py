"""Every case of the probe against the built-in ends, two processes on each medium: minutes, and little work.

Left out of the default run; `make probe` plays them, and so does every submission.
"""

from __future__ import annotations

import json

import pytest

from benchsim.probe.case import Side, cases
from tests.real.test_probe import probed, stand_in

pytestmark = [pytest.mark.real, pytest.mark.long, pytest.mark.timeout(560)]


@pytest.mark.parametrize("place", ["listen-tcp:0", "listen-udp:0", "pty", "listen-mqtt:0/bench/1"])
@pytest.mark.parametrize("side", Side)
def test_every_case_finds_the_built_in_end_conforming(side: Side, place: str) -> None:
    if side is Side.HOST and "udp" in place:  # whoever hosts calls its nodes: they listen
        done = probed(side, "--at", place, attendant=stand_in(side, "{at}"))
    else:
        done = probed(side, attendant=stand_in(side, place))
    due = [name for name, case in cases(side).items() if not case.told]
    told = json.loads(done.stdout)["cases"]
    assert {c["id"]: c["verdict"] for c in told} == dict.fromkeys(due, "conforming")
    assert done.returncode == 0
