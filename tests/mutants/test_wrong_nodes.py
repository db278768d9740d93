"""Every wrong node is caught by the case made for it, and by few others."""

from __future__ import annotations

import pytest
from hypothesis import settings

from benchsim.ground.randomness import Streams
from benchsim.probe.case import Case, Side, cases
from benchsim.probe.finding import Verdict
from benchsim.probe.play import Result
from benchsim.probe.run import run_case
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import NodesStandIn
from tests.mutants.nodes import WRONG_NODES
from tests.mutants.wrong_node import Wrong

KEY = bytes(range(16))
OF_NODES = cases(Side.NODE)
# Each wrong node is played against its own case and against every n-th of all, beginning at another for each;
# where tests search further (--hypothesis-profile ci, long) against all.
EVERY = 2 if settings().max_examples < 100 else 1
# A wrong node that every case catches tells nothing of the cases.
FEW = len(OF_NODES) // 4 // EVERY


def play(case: Case, wrong: Wrong | None = None) -> Result:
    """A case against a wrong node, or against the right one."""
    setting = Setting(key=KEY, addresses=tuple(range(1, case.needs + 1)))
    return run_case(case, setting, NodesStandIn if wrong is None else wrong.device, Streams(3))


@pytest.mark.parametrize("wrong", WRONG_NODES, ids=lambda w: w.name)
def test_a_wrong_node_is_caught_by_the_case_made_for_it(wrong: Wrong) -> None:
    case = OF_NODES[wrong.made_for]
    found = play(case, wrong)
    assert found.verdict is Verdict.NOT_CONFORMING
    assert found.why
    assert found.at is not None
    assert 0 <= found.at < len(found.said)
    assert play(case).verdict is Verdict.CONFORMING


@pytest.mark.parametrize("wrong", WRONG_NODES, ids=lambda w: w.name)
def test_few_cases_catch_a_wrong_node_and_its_own_is_among_them(wrong: Wrong) -> None:
    chosen = {*list(OF_NODES)[WRONG_NODES.index(wrong) % EVERY :: EVERY], wrong.made_for}
    caught = {i for i in chosen if play(OF_NODES[i], wrong).verdict is Verdict.NOT_CONFORMING}
    assert wrong.made_for in caught
    assert len(caught) <= FEW, sorted(caught)
