"""A host may be told wrong of its scale; what nobody can be told is refused at its place."""

from __future__ import annotations

import pytest

from benchsim.bench.bench import Bench
from benchsim.ground.commands import Expect
from benchsim.link.parts import Expected
from tests.scenario.texts import HEAD, built, told

TEN = "title: t\nscale: {capacity: 60 t, interval: 20 kg}\ncells: {count: 10}\nrules: hb44-iiil-vehicle\n"


def test_a_host_is_told_what_is_wired_unless_the_file_says_otherwise() -> None:
    card = built(TEN).plan.link
    assert card.scale_cells == 10
    assert card.expected == (
        Expected(1, 4, None, 80), Expected(2, 4, None, 80), Expected(3, 2, None, 80)
    )  # fmt: skip


def test_what_is_left_out_of_an_expectation_is_as_wired() -> None:
    card = built(TEN + "link: {expected: {addresses: [{address: 3}, {address: 1, cells: 6}]}}\n").plan.link
    assert card.scale_cells == 10
    assert [(e.address, e.cells) for e in card.expected] == [(3, 2), (1, 6)]


def test_the_wiring_does_not_change_with_what_the_host_is_told() -> None:
    text = TEN + "link: {expected: {cells: 4, addresses: [{address: 1, cells: 4}]}}\n"
    assert built(text).plan.scale == built(TEN).plan.scale
    assert built(text).plan.host.seats == built(TEN).plan.host.seats


@pytest.mark.parametrize(
    ("expected", "error"),
    [
        ("{cells: 0}", "s.yaml:5:26: cells: 0 is too small; at least 1"),
        ("{cells: 17}", "s.yaml:5:26: cells: 17 is too large; at most 16"),
        (
            "{cells: many}",
            "s.yaml:5:26: cells: 'many' is not what stands here; write a whole number without a unit",
        ),
        ("{cell: 4}", "s.yaml:5:19: unknown key 'cell'; did you mean 'cells'?"),
        ("{addresses: []}", "s.yaml:5:30: addresses: a list is too short; at least 1"),
        ("{addresses: [{address: 17}]}", "s.yaml:5:41: address: 17 is too large; at most 16"),
        (
            "{addresses: [{address: 1}, {address: 1}]}",
            "s.yaml:5:55: address 1 is listed twice; each address once",
        ),
        (
            "{addresses: [{address: 1}, {address: 9}]}",
            "s.yaml:5:45: no node is wired for address 9; say how many cells: 4 there",
        ),
        (
            "{cells: 6}",
            "s.yaml:5:26: cells: 6 on the scale, but 10 at its addresses; 10 or more",
        ),
    ],
)
def test_what_nobody_can_be_told_is_refused_at_its_place(expected: str, error: str) -> None:
    assert [line[: len(error)] for line in told(TEN + f"link: {{expected: {expected}}}\n")] == [error]


def test_a_timeline_that_tells_the_host_better_is_followed() -> None:
    text = TEN + (
        "link: {expected: {addresses: [{address: 1}]}}\n"
        "timeline:\n  - at: 1 s\n"
        "    expect: {addresses: [{address: 1}, {address: 2}, {address: 5, cells: 1}]}\n"
        "  - {at: 2 s, pair: address 2}\n"
        "checks: [at 3 s node 2 is failed]\n"
    )
    ready = built(text)
    assert ready.told[0].command == Expect(10, ((1, 4), (2, 4), (5, 1)))
    assert str(ready.told[0].command) == ("expect 10 cells: 4 at address 1, 4 at address 2, 1 at address 5")
    bench = Bench(ready.plan, ready.profile, 1)
    bench.run(3_000_000)
    states = {s.address: (s.step, s.reason, s.detail) for s in bench.link_states}
    assert states[2] == (
        "failed",
        "more cells than addresses",
        "the addresses set carry 9 of 10 cells, at step seek",
    )
    assert states[5] == ("idle", "", "")


@pytest.mark.parametrize(
    ("items", "error"),
    [
        ("[{at: 1 s, pair: address 2}]", "s.yaml:6:28: pair: no node at address 2; addresses: 1"),
        (
            "[{at: 1 s, expect: {addresses: [{address: 2}]}}, {at: 2 s, pair: address 1}]",
            "s.yaml:6:76: pair: no node at address 1; addresses: 2",
        ),
        (
            "[{at: 1 s, expect: {cells: 3}}]",
            "s.yaml:6:38: cells: 3 on the scale, but 10 at its addresses",
        ),
    ],
)
def test_only_what_the_host_expects_by_then_can_be_asked_for(items: str, error: str) -> None:
    text = TEN + f"link: {{expected: {{addresses: [{{address: 1}}]}}}}\ntimeline: {items}\n"
    assert [line[: len(error)] for line in told(text)] == [error]


def test_what_cannot_be_read_of_the_cells_is_not_held_against_the_expectation() -> None:
    text = HEAD + "cells: {count: x}\nlink: {expected: {cells: 9, addresses: [{address: 3}]}}\n"
    assert told(text) == [
        "s.yaml:3:16: count: 'x' is not what stands here; write a whole number without a unit"
    ]


def test_a_host_told_of_fewer_addresses_shows_no_weight_from_then_on() -> None:
    text = (
        TEN + "timeline:\n  - at: 10 s\n    expect: {addresses: [{address: 1}, {address: 2}]}\nlasts: 12 s\n"
    )
    ready = built(text)
    bench = Bench(ready.plan, ready.profile, 1)
    bench.run(9_900_000)
    assert bench.indication.valid
    bench.run(10_300_000)
    assert not bench.indication.valid
    assert "node 3" in bench.indication.reason
    assert [(t, s.step, s.detail) for t, s in bench.trace.link_states if s.address == 3][-1] == (
        10_000_000, "idle", "no longer expected",
    )  # fmt: skip
    assert [s.step for s in bench.link_states] == ["flow", "flow"]
