"""The two step tables: every line of them happens, and nothing moves a step that stands in neither."""

from __future__ import annotations

from typing import Any

import pytest

from benchsim.link.node import NodeEnd
from benchsim.link.seat import Seat
from benchsim.link.steps import (
    HOST_STEPS,
    HOST_STEPS_ONCE_FLOWED,
    NODE_STEPS,
    HostEvent,
    Step,
    next_host_step,
    silent_for,
)
from tests.link.stories import STORIES


@pytest.fixture
def walked(monkeypatch: pytest.MonkeyPatch) -> set[Any]:
    """Every (who, step, event, next step) that the stories bring about."""
    seen: set[Any] = set()
    host, node = Seat._happens, NodeEnd._happens

    def of_host(seat: Seat, event: HostEvent, *rest: Any) -> None:
        before, once = seat.step, seat._once_flowed
        host(seat, event, *rest)
        seen.add(("host", before, event, seat.step, once))

    def of_node(end: NodeEnd, event: Any) -> None:
        before = end.step
        node(end, event)
        seen.add(("node", before, event, end.step))

    monkeypatch.setattr(Seat, "_happens", of_host)
    monkeypatch.setattr(NodeEnd, "_happens", of_node)
    for story in STORIES.values():
        story()
    return seen


def test_every_line_of_both_tables_happens_and_leads_where_it_says(walked: set[Any]) -> None:
    host = {(b, e): a for who, b, e, a, *_ in walked if who == "host" if (b, e) in HOST_STEPS}
    node = {(b, e): a for who, b, e, a, *_ in walked if who == "node" if (b, e) in NODE_STEPS}
    assert set(host) == set(HOST_STEPS)
    assert node == NODE_STEPS
    for who, before, event, after, *once in walked:
        if who == "host" and (before, event) in HOST_STEPS:
            assert after == next_host_step(before, event, once[0])
    once_flowed = {(b, e) for who, b, e, _, *once in walked if who == "host" and once == [True]}
    assert set(HOST_STEPS_ONCE_FLOWED) <= once_flowed


def test_what_stands_in_no_table_moves_nothing(walked: set[Any]) -> None:
    for who, before, event, after, *_ in walked:
        if (before, event) not in (HOST_STEPS if who == "host" else NODE_STEPS):
            assert after == before


def _reachable(start: Step) -> set[Step]:
    reached, fresh = {start}, [start]
    while fresh:
        step = fresh.pop()
        for (before, _), after in HOST_STEPS.items():
            if before == step and after not in reached:
                reached.add(after)
                fresh.append(after)
    return reached


@pytest.mark.parametrize("step", [s for s in Step if s is not Step.OFFER])
def test_from_every_step_of_the_host_all_others_but_idle_can_be_reached(step: Step) -> None:
    assert _reachable(step) | {Step.IDLE} == set(Step) - {Step.OFFER}


def test_an_address_that_has_flowed_only_becomes_lost_where_it_would_have_failed() -> None:
    for pair, after in HOST_STEPS_ONCE_FLOWED.items():
        assert HOST_STEPS[pair] is Step.FAILED
        assert after is Step.LOST


def test_the_reason_of_a_lost_address_says_for_how_long_it_was_silent() -> None:
    assert silent_for(1_250_000) == "lost: silent for 1.25 s"
