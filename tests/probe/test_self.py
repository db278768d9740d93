"""The built-in ends under test: every case of the probe finds them conforming."""

from __future__ import annotations

import pytest

from benchsim.ground.randomness import Streams
from benchsim.probe.case import Case, Side, cases
from benchsim.probe.finding import Verdict
from benchsim.probe.run import run_case
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn, NodesStandIn

SETTING = Setting(key=bytes(range(16)), addresses=(1, 2))
OF_NODES = tuple(cases(Side.NODE).values())
OF_HOSTS = tuple(case for case in cases(Side.HOST).values() if case.fits(SETTING))


@pytest.mark.parametrize("case", OF_NODES, ids=lambda c: c.id)
def test_the_built_in_node_conforms(case: Case) -> None:
    result = run_case(case, SETTING, NodesStandIn, Streams(1))
    assert (result.verdict, result.why) == (Verdict.CONFORMING, "")


@pytest.mark.parametrize("case", OF_HOSTS, ids=lambda c: c.id)
def test_the_built_in_host_conforms(case: Case) -> None:
    result = run_case(case, SETTING, HostStandIn, Streams(1))
    assert (result.verdict, result.why) == (Verdict.CONFORMING, "")


def test_a_tag_that_ends_in_zero_by_chance_is_no_wrong_tag() -> None:
    """One tag in 256 does; with this seed it is one of those that the case makes."""
    case = cases(Side.HOST)["host-a-wrong-tag-is-dropped"]
    assert run_case(case, SETTING, HostStandIn, Streams(683)).verdict is Verdict.CONFORMING


@pytest.mark.parametrize("octet", [0x00, 0xFF])
def test_a_pairing_key_like_any_other_on_a_bench_spoils_no_verdict(octet: int) -> None:
    setting = Setting(key=bytes([octet] * 16), addresses=(1, 2))
    for name in (
        "node-nobody-is-bound-by-what-is-not-proven",
        "node-host-with-another-pairing-key-is-refused",
    ):
        assert run_case(cases(Side.NODE)[name], setting, NodesStandIn, Streams(1)).why == ""
