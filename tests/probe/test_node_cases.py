"""The node's cases hold for any right node: of other size and speed, far away, with nobody to attend it."""

from __future__ import annotations

import heapq
from dataclasses import replace
from itertools import count
from typing import Any

import pytest

from benchsim.ground.randomness import Dice, Streams
from benchsim.link.node import NodeEnd
from benchsim.link.parts import NodeCard
from benchsim.probe import run
from benchsim.probe.case import Side, cases
from benchsim.probe.finding import Verdict
from benchsim.probe.play import Result
from benchsim.probe.run import Device, MakeDevice, run_cases
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import NodesStandIn

SETTING = Setting(key=bytes(range(16)), addresses=(1, 2), patience_us=50_000)
OF_NODES = tuple(cases(Side.NODE).values())

OTHERS: dict[str, dict[str, Any]] = {
    "one channel, slow, few samples kept": {
        "channels": 1,
        "rate_hz": 10,
        "most_samples_per_frame": 3,
        "buffer_samples": 40,
        "versions": (1, 4),
    },
    "three channels, fast": {"channels": 3, "rate_hz": 1200, "buffer_samples": 0xFFFF},
    "one sample a frame": {"channels": 2, "rate_hz": 7, "most_samples_per_frame": 1},
}


def other_nodes(**card: Any) -> MakeDevice:
    """Right nodes that differ in their card."""

    def end(usual: NodeCard, dice: Dice, clock: Any) -> NodeEnd:
        return NodeEnd(replace(usual, **card), dice, clock)

    return lambda setting, streams: NodesStandIn(setting, streams, end)


def wrongly_found(make: MakeDevice, seed: int = 1) -> list[tuple[str, str]]:
    """Cases that find something in right nodes."""
    found = run_cases(OF_NODES, SETTING, make, Streams(seed))
    return [(r.case.id, r.why) for r in found if r.verdict is Verdict.NOT_CONFORMING]


def not_reached(make: MakeDevice, seed: int = 1) -> dict[str, str]:
    """Cases that were not brought to their point, and why."""
    found = run_cases(OF_NODES, SETTING, make, Streams(seed))
    return {r.case.id: r.why for r in found if r.verdict is Verdict.NOT_REACHED}


class Far:
    """Nodes at the end of a medium that holds each frame back for a time of its own, up to most_us."""

    def __init__(self, nodes: Device, dice: Dice, most_us: int, in_order: bool) -> None:
        self._nodes, self._dice, self._most_us, self._in_order = nodes, dice, most_us, in_order
        self._ways: tuple[list[tuple[int, int, bytes]], ...] = ([], [])
        self._last_us = [0, 0]
        self._put = count()

    def _set_out(self, way: int, frame: bytes, now_us: int) -> None:
        t_us = now_us + self._dice.below(self._most_us)
        if self._in_order:
            t_us = self._last_us[way] = max(t_us, self._last_us[way])
        heapq.heappush(self._ways[way], (t_us, next(self._put), frame))

    def _arrived(self, way: int, now_us: int) -> list[bytes]:
        come, waiting = [], self._ways[way]
        while waiting and waiting[0][0] <= now_us:
            come.append(heapq.heappop(waiting)[2])
        return come

    def receive(self, frame: bytes, now_us: int) -> None:
        self._set_out(0, frame, now_us)

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        for frame in self._arrived(0, now_us):
            self._nodes.receive(frame, now_us)
        said, next_us = self._nodes.due(now_us)
        for frame in said:
            self._set_out(1, frame, now_us)
        out = self._arrived(1, now_us)
        wakes = [way[0][0] for way in self._ways if way] + ([] if next_us is None else [next_us])
        return out, min(wakes, default=None)

    def act(self, text: str, now_us: int) -> str | None:
        return self._nodes.act(text, now_us)


class Unattended:
    """The same nodes for case after case, with nobody there to restart or recommission them."""

    def __init__(self, nodes: Device) -> None:
        self._nodes = nodes
        self._began_us = self._now_us = 0

    def next_case(self, _setting: Setting, _streams: Streams) -> Unattended:
        """Time goes on where the case before ended."""
        self._began_us = self._now_us
        return self

    def receive(self, frame: bytes, now_us: int) -> None:
        self._now_us = self._began_us + now_us
        self._nodes.receive(frame, self._now_us)

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        self._now_us = self._began_us + now_us
        out, next_us = self._nodes.due(self._now_us)
        return out, None if next_us is None else next_us - self._began_us

    def act(self, text: str, now_us: int) -> str | None:
        return None


def far(most_us: int, in_order: bool) -> MakeDevice:
    return lambda setting, streams: Far(
        NodesStandIn(setting, streams), streams.dice("way"), most_us, in_order
    )


@pytest.mark.parametrize("card", OTHERS.values(), ids=OTHERS)
def test_nodes_of_other_size_and_speed_conform(card: dict[str, Any]) -> None:
    assert not wrongly_found(other_nodes(**card))


@pytest.mark.parametrize("transit_us", [20_000, SETTING.patience_us - 1_000])
def test_a_slow_medium_spoils_no_verdict(transit_us: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "TRANSIT_US", transit_us)
    assert not wrongly_found(NodesStandIn)
    assert not not_reached(NodesStandIn)


@pytest.mark.parametrize("in_order", [True, False], ids=["in order", "one overtakes another"])
def test_a_medium_that_holds_frames_back_unevenly_spoils_no_verdict(in_order: bool) -> None:
    assert not wrongly_found(far(SETTING.patience_us - 1_000, in_order), seed=4)


def test_a_node_that_keeps_too_few_samples_is_not_judged_by_its_repeats() -> None:
    card = other_nodes(buffer_samples=20)
    assert not wrongly_found(card)
    assert all("too few for this case" in why for why in not_reached(card).values())
    assert "node-samples-are-repeated-as-they-were" in not_reached(card)


def unattended() -> list[Result]:
    """All cases in a row, with the same nodes and nobody there."""
    nodes = Unattended(NodesStandIn(SETTING, Streams("one after another")))
    return list(run_cases(OF_NODES, SETTING, nodes.next_case, Streams(2)))


def test_nodes_that_nobody_attends_conform_case_after_case() -> None:
    found = unattended()
    assert [(r.case.id, r.why) for r in found if r.verdict is Verdict.NOT_CONFORMING] == []
    left_out = {r.case.id: r.why for r in found if r.verdict is Verdict.NOT_REACHED}
    assert all(why.startswith("nobody could do this at the device: re") for why in left_out.values())
    assert len(left_out) < len(found) // 10
