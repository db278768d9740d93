"""Verdicts on reasons of an invalid indication and on the steps of nodes."""

from __future__ import annotations

import pytest

from benchsim.ground.readings import LinkState
from benchsim.record.trace import Trace
from tests.checks.asked import kept
from tests.record.runs import run


def test_reasons_of_an_invalid_indication() -> None:
    made = run(20, valid=lambda t: False, reason=lambda t: "Node 2: lost" if t < 1_000_000 else "a gap")
    assert kept('until 0.9 s indication is invalid with reason "node 2"', made)
    assert not kept('until 1 s indication is invalid with reason "node 2"', made)
    assert not kept('at 0.5 s indication is invalid with reason is "node 2: lost"', made)
    assert kept('at 0.5 s indication is invalid with reason is "Node 2: lost"', made)
    assert kept('always invalid with reason matches "^(Node \\\\d|a g)"', made)
    assert kept('from 1 s on indication is not valid with reason contains "A GAP"', made)


@pytest.fixture
def paired() -> Trace:
    """Node 2 seeks from 0 s, flows from 1 s, is lost from 3 s, flows from 4 s.  Node 1 flows from 1.05 s."""
    made = run(60)
    made.link(0, LinkState(2, "seek"))
    made.link(1_000_000, LinkState(2, "flow", "", "serial 0A"))
    made.link(1_050_000, LinkState(1, "flow"))
    made.link(3_000_000, LinkState(2, "lost", "silent for 1 s"))
    made.link(4_000_000, LinkState(2, "flow"))
    return made


@pytest.mark.parametrize(
    ("sentence", "passes"),
    [
        ("at 0.999999 s node 2 is seek", True),
        ("at 1 s node 2 is flow", True),
        ("from 1 s to 2.999999 s node 2 is flow", True),
        ("from 1 s to 3 s node 2 is flow", False),
        ("from 1.2 s to 1.3 s node 2 is flow", True),  # no change inside: what stood there counts
        ("from 3.2 s to 3.3 s node 2 is not flow", True),
        ("never node 1 is lost", True),
        ("within 1 s after 3 s node 2 is flow", True),
        ("within 0.999999 s after 3 s node 2 is flow", False),
        ("never for more than 1 s node 2 is lost", True),
        ("for at least 2 s node 2 is flow", True),
        ("for at least 2.1 s node 2 is lost", False),
        ("node 2 is flow exactly twice", True),
        ('at 3.5 s node 2 is lost with reason "silent"', True),
        ('at 3.5 s node 2 is lost with reason "wrong key"', False),
        ("at 1 s node 1 is flow", False),
        ("from 1.05 s on node 1 is flow", True),
        ("always motion is off while node 2 is lost", True),
        ("never node 1 is flow while node 2 is lost", False),
    ],
)
def test_steps_of_a_node(paired: Trace, sentence: str, passes: bool) -> None:
    assert kept(sentence, paired) is passes
