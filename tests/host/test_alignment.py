"""Samples of one instant from every node, or no weight and a reason that names the node."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from benchsim.ground.commands import Record
from benchsim.ground.readings import LinkState
from tests.host.feed import Node, Rig, flow, host, run


def steps(t_us: int) -> float:
    """A weight that never stands: 1 t more each second."""
    return 1_000.0 * (t_us // 1_000_000)


def test_before_anything_happened_there_is_no_weight() -> None:
    it = host()
    assert (it.indication.valid, it.indication.reason) == (False, "not paired")
    assert it.advance(500_000)[-1].indication.reason == "not paired"


def test_a_gap_is_waited_for_and_filled_by_samples_sent_again() -> None:
    rig = Rig(cells=8, waiting_us=1_000_000)
    rig.settle(10_000.0)
    lost = rig.nodes[1].next
    shown = rig.wait(0.5, drop=lambda f: f.address == 2 and f.first == lost)
    assert all(i.valid and i.gross_d == 500 for i in shown)
    rig.host.take(rig.nodes[1].frame(lost, resent=True, arrived_us=rig.now_us))
    assert all(i.valid and not i.motion for i in rig.wait(1.0)[1:])
    assert rig.host._grid.good[:, 1][rig.host._grid.good[:, 0]].all()


def test_a_gap_that_is_never_filled_is_stepped_over_with_a_fresh_window() -> None:
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    lost = rig.nodes[1].next
    before = rig.now_us
    rig.put(20_000.0)
    shown = rig.wait(3.0, drop=lambda f: f.address == 2 and f.first == lost)
    assert {i.gross_d for i in shown} == {500, 1_000}  # no mean over both sides of the gap
    change = next(i.t_us for i in shown if i.gross_d == 1_000)
    assert change - before <= 100_000 + 400_000 + 200_000


def test_a_gap_longer_than_may_be_waited_for_is_told_with_the_node() -> None:
    rig = Rig(cells=8, waiting_us=600_000)
    rig.settle(10_000.0)
    shown = rig.wait(3.0, drop=lambda f: f.address == 2)
    invalid = [i for i in shown if not i.valid]
    assert {i.reason for i in invalid} == {"node 2: no samples for more than 0.6 s"}
    assert invalid[0].t_us - shown[0].t_us <= 900_000
    assert all(not i.valid for i in shown[-10:])
    assert all(i.gross_d == 0 and not i.shows_figure for i in invalid)
    assert rig.wait(1.0)[-1].valid


def test_while_a_gap_is_open_for_long_nothing_is_recorded() -> None:
    """The figure is held, but what it rests on grows old: not stable equilibrium any more."""
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    shown = rig.wait(0.9, drop=lambda f: f.address == 2)
    assert shown[-1].valid
    assert shown[-1].motion
    assert not rig.ask(Record()).done


def test_a_lost_node_is_told_at_once_in_the_words_of_the_link() -> None:
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    rig.host.link(LinkState(2, "lost", "lost: silent for 1 s", since_us=rig.now_us + 50_000))
    assert rig.wait(0.1)[-1].reason == "node 2: lost: silent for 1 s"


def test_after_a_lost_node_came_back_only_new_samples_count() -> None:
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    rig.host.link(LinkState(2, "lost", "lost: silent for 1 s", since_us=rig.now_us))
    rig.put(30_000.0)
    rig.wait(2.0, drop=lambda f: f.address == 2)
    rig.host.link(LinkState(2, "flow", since_us=rig.now_us))
    rig.host.clock(rig.nodes[1].clock(rig.now_us))
    shown = rig.wait(2.0)
    assert [i.gross_d for i in shown if i.valid] == [1_500] * sum(i.valid for i in shown)
    assert shown[-1].valid
    assert not shown[0].valid


def test_a_sample_that_comes_twice_changes_nothing() -> None:
    plain, twice = Rig(cells=8), Rig(cells=8)
    for rig in (plain, twice):
        rig.put(0.0, lambda t_us: 9_000.0 + 500.0 * math.sin(t_us * 3e-6))
    first = plain.wait(5.0)
    for node in twice.nodes:
        for frame in node.until(5_000_000):
            twice.host.take(frame)
            other = np.frombuffer(frame.octets, "<i4") + 1_000_000
            twice.host.take(dataclasses.replace(frame, octets=other.tobytes(), resent=True))
    assert [t.indication for t in twice.host.advance(5_000_000)] == first


def test_a_sample_that_comes_again_later_changes_nothing() -> None:
    rig = Rig()
    rig.settle(9_000.0)
    other = bytes(len(rig.nodes[0].frame(0).octets))
    for back in range(1, 4):
        frame = rig.nodes[0].frame(rig.nodes[0].next - 8 * back, resent=True, arrived_us=rig.now_us + 1)
        rig.host.take(dataclasses.replace(frame, octets=other))
    assert {i.gross_d for i in rig.wait(1.0)} == {450}


def test_samples_of_a_node_nobody_asked_for_are_left_out() -> None:
    rig = Rig()
    stranger = Node(7, lambda _t: 9e3)
    rig.host.link(LinkState(7, "failed", "wrong key"))
    rig.host.clock(stranger.clock(0))
    rig.put(2_000.0)
    for frame in stranger.until(3_000_000):
        rig.host.take(frame)
    assert rig.wait(3.0)[-1].gross_d == 100


def test_a_node_with_too_few_channels_is_told() -> None:
    it, node = host(), Node(1, steps, channels=2)
    flow(it, node)
    assert run(it, [node], 2_000_000)[-1].indication.reason == "node 1: 2 channels where 4 are needed"


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (1, "cell 7: at the upper stop of the converter's range"),
        (2, "cell 7: at the lower stop of the converter's range"),
        (4, "cell 7: no bridge at the terminals"),
        (8, "cell 7: excitation or its sense out of range"),
        (128, "cell 7: channel status 128"),
    ],
)
def test_a_channel_that_is_not_good_takes_the_weight_away_and_names_its_cell(status: int, words: str) -> None:
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    node = rig.nodes[1]
    bad = [node.next + 8 * k for k in range(5)]
    node.status = dict.fromkeys(bad, (0, 0, status, 0))
    shown = rig.wait(2.0)
    invalid = [i for i in shown if not i.valid]
    assert {i.reason for i in invalid} == {words}
    assert shown[0] == invalid[0]  # with the first such frame, not after a wait
    assert not any(i.shows_figure for i in invalid)
    assert 5 <= len(invalid) <= 5 + 6  # the bad frames and one fresh window behind them
    assert shown[-1].gross_d == 500


def test_a_bad_channel_that_carries_no_cell_does_not_matter() -> None:
    rig = Rig(cells=3)
    node = Node(1, lambda _t: 400.0, channels=4, share=4 / 3)
    node.status = {8 * k: (0, 0, 0, 4) for k in range(200)}
    rig.nodes[:] = [node]
    assert rig.wait(3.0)[-1].gross_d == 20


def test_the_other_cells_are_still_told_while_one_is_bad() -> None:
    rig = Rig(cells=8)
    rig.settle(8_000.0)
    node = rig.nodes[1]
    node.status = {node.next + 8 * k: (0, 4, 0, 0) for k in range(100)}
    node.until(rig.now_us)
    rig.now_us += 2_000_000
    cells = run(rig.host, rig.nodes, rig.now_us)[-1].cells_kg
    assert [round(kg) for kg in cells if not math.isnan(kg)] == [1_000] * 7
    assert math.isnan(cells[5])


def test_the_cells_of_a_node_that_is_away_have_no_weight() -> None:
    rig = Rig(cells=8)
    rig.settle(8_000.0)
    rig.host.link(LinkState(2, "lost", since_us=rig.now_us))
    rig.now_us += 3_000_000
    cells = run(rig.host, rig.nodes, rig.now_us, drop=lambda f: f.address == 2)[-1].cells_kg
    assert [round(kg) for kg in cells[:4]] == [1_000] * 4
    assert all(map(math.isnan, cells[4:]))


@pytest.mark.parametrize("rows", [1, 8, 80])
def test_a_frame_may_hold_any_number_of_samples(rows: int) -> None:
    it, node = host(), Node(1, lambda _t: 4_000.0, rows=rows)
    flow(it, node)
    ticks = run(it, [node], 5_000_000)
    assert all(t.indication.valid and t.indication.gross_d == 200 for t in ticks[20:])


def test_frames_whose_length_changes_on_the_way_are_all_read() -> None:
    it, node = host(), Node(1, lambda _t: 4_000.0)
    flow(it, node)
    for rows in (8, 1, 4, 80, 2):
        node.rows = rows
        until_us = node.t_us(node.next) + 2_000_000
        shown = run(it, [node], until_us)[-1].indication
        assert (shown.valid, shown.gross_d) == (True, 200)


@pytest.mark.parametrize("steps", [1, 60])
def test_a_bad_sample_long_ago_is_not_the_reason_any_more(steps: int) -> None:
    rig = Rig(cells=8)
    rig.settle(1_000.0)
    node = rig.nodes[1]
    node.status = {node.next: (0, 0, 4, 0)}
    last = [n.next for n in rig.nodes]
    shown = []
    for _ in range(steps):
        shown += rig.wait(6.0 / steps, drop=lambda f: f.first > last[f.address - 1])
    reasons = [i.reason for i in shown]
    assert reasons[5] == "cell 7: no bridge at the terminals"
    assert set(reasons[20:]) == {"node 1: no samples for more than 1 s"}
