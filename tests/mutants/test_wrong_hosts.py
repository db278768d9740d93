"""Every wrong host is caught by the case made for it, and by few others; every case can catch one."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import settings

from benchsim.ground.randomness import Streams
from benchsim.probe.case import Case, Side, cases
from benchsim.probe.finding import Verdict
from benchsim.probe.play import Result
from benchsim.probe.run import run_case
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import HostStandIn
from tests.mutants.hosts import WRONG_HOSTS, WrongHost

KEY = bytes(range(16))
OF_HOSTS = cases(Side.HOST)
WRONG = tuple(WRONG_HOSTS.values())
# Each wrong host is played against its own case and against every n-th of all, beginning at another for each;
# where tests search further (--hypothesis-profile ci, long) against all.
EVERY = 4 if settings().max_examples < 100 else 1
# A wrong host that most cases catch tells nothing of the cases.
MOST = 0.4


def play(case: Case, wrong: WrongHost | None = None) -> Result:
    """A case against a wrong host, or against the right one."""
    told = {"sealed": bytes(range(8)), "rate_hz": 100} if case.told else {}
    setting = Setting(key=KEY, addresses=tuple(range(1, case.needs + 1)), **told)  # type: ignore[arg-type]
    return run_case(case, setting, HostStandIn if wrong is None else wrong.device, Streams(3))


@cache
def played(wrong: WrongHost) -> tuple[frozenset[str], frozenset[str]]:
    """Which cases were played against a wrong host, and which of them caught it."""
    begin, ids = WRONG.index(wrong) % EVERY, list(OF_HOSTS)
    chosen = frozenset(ids[begin::EVERY]) | {wrong.made_for}
    caught = {i for i in chosen if play(OF_HOSTS[i], wrong).verdict is Verdict.NOT_CONFORMING}
    return chosen, frozenset(caught)


@pytest.mark.parametrize("wrong", WRONG, ids=lambda w: w.name)
def test_a_wrong_host_is_caught_by_the_case_made_for_it(wrong: WrongHost) -> None:
    case = OF_HOSTS[wrong.made_for]
    found = play(case, wrong)
    assert found.verdict is Verdict.NOT_CONFORMING
    assert found.why
    assert found.at is not None
    assert 0 <= found.at < len(found.said)
    assert play(case).verdict is Verdict.CONFORMING


@pytest.mark.parametrize("wrong", WRONG, ids=lambda w: w.name)
def test_few_cases_catch_a_wrong_host_and_its_own_is_among_them(wrong: WrongHost) -> None:
    chosen, caught = played(wrong)
    assert wrong.made_for in caught
    assert len(caught) <= MOST * len(chosen), sorted(caught)


def test_most_wrong_hosts_are_caught_by_very_few_cases() -> None:
    narrow = [w for w in WRONG if len(played(w)[1]) <= max(3, len(played(w)[0]) // 10)]
    assert len(narrow) >= 0.9 * len(WRONG)


def test_nearly_every_case_has_a_wrong_host_of_its_own() -> None:
    made_for = {w.made_for for w in WRONG}
    assert made_for <= set(OF_HOSTS)
    without = sorted(set(OF_HOSTS) - made_for)
    assert len(without) <= len(OF_HOSTS) // 4, without
