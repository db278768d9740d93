"""Nodes with clocks and counters of their own, on one grid of instants."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from benchsim.ground.readings import ClockReading, LinkState, Samples
from tests.host.feed import Node, Rig, flow, host, run


def steps(t_us: int) -> float:
    """A weight that never stands: 1 t more each second."""
    return 1_000.0 * (t_us // 1_000_000)


def test_a_node_that_flows_without_a_clock_reading_gives_no_weight() -> None:
    it, node = host(), Node(1, steps)
    it.link(LinkState(1, "flow"))
    assert run(it, [node], 2_000_000)[-1].indication.reason == "node 1: clock not read yet"
    it.clock(node.clock(2_000_000))
    assert run(it, [node], 2_500_000)[-1].indication.valid


def test_a_clock_reading_counts_from_when_its_answer_was_in() -> None:
    it, node = host(), Node(1, lambda _t: 1_000.0)
    it.link(LinkState(1, "flow"))
    it.clock(node.clock(1_500_000, round_trip_us=700_001))
    ticks = run(it, [node], 3_000_000)
    assert [t.indication.t_us for t in ticks if t.indication.valid] == list(
        range(1_900_000, 3_000_001, 100_000)
    )


def test_nodes_that_started_at_different_times_are_aligned_by_their_clocks() -> None:
    """Counter and clock of the second node are far from those of the first; their instants are not."""
    it = host(cells=8)
    one, two = Node(1, steps, share=0.5), Node(2, steps, share=0.5, offset_us=123_456_789)
    two_counts_from_900 = [dataclasses.replace(f, first=f.first + 900) for f in two.until(3_100_000)]
    flow(it, one, two)
    for frame in two_counts_from_900:
        it.take(frame)
    ticks = run(it, [one], 3_000_000)
    # 2 t until 3 s, seen with the mean's lag: exact, which one instant of skew at a step would spoil.
    assert {t.indication.gross_d for t in ticks[-5:]} == {100}
    assert all(t.indication.valid for t in ticks[-5:])


def cells_at_updates(it_nodes: tuple[Node, Node], seconds: int) -> list[tuple[float, ...]]:
    it = host(cells=8, averaging_us=12_500, update_hz=80)
    flow(it, *it_nodes)
    ticks = []
    for second in range(1, seconds + 1):
        now_us = second * 1_000_000
        ticks += run(it, it_nodes, now_us)
        for node in it_nodes:
            it.clock(node.clock(now_us))
    assert all(t.indication.valid for t in ticks[80:])
    return [t.cells_kg for t in ticks[80:]]


@pytest.mark.parametrize(("ppm", "creep_ppm"), [(100.0, 0.0), (-100.0, 0.0), (0.0, 90.0), (60.0, -90.0)])
def test_nodes_whose_clocks_drift_apart_stay_within_one_sample(ppm: float, creep_ppm: float) -> None:
    """Over 300 s the clocks part by 30 ms and 60 ms, several samples; a common slope shows any skew."""
    slope_kg_per_sample = 8.0

    def ramp(t_us: int) -> float:
        return t_us / 12_500 * slope_kg_per_sample

    seen = cells_at_updates(
        (Node(1, ramp, share=0.5), Node(2, ramp, share=0.5, ppm=ppm, creep_ppm=creep_ppm)), 300
    )
    skew = np.array([(cells[0] - cells[4]) / (slope_kg_per_sample / 8) for cells in seen])
    # Half a sample of rounding, a quarter of hysteresis, and what one count of 0.01 kg hides.
    assert np.abs(skew).max() <= 0.80
    assert np.abs(skew).max() >= 0.45 or not ppm  # the converters did part


@pytest.mark.parametrize("ppm", [100.0, -100.0])
def test_a_slip_by_one_sample_never_shows_in_a_weight_that_stands(ppm: float) -> None:
    """Neither a hole in the window nor a restart of the stretch that must be stable."""
    it = host(profile="r76-iii", cells=8)
    nodes = [Node(1, lambda _t: 10_000.0, share=0.5), Node(2, lambda _t: 10_000.0, share=0.5, ppm=ppm)]
    flow(it, *nodes)
    ticks = []
    for second in range(1, 300):
        ticks += run(it, nodes, second * 1_000_000)
        for node in nodes:
            it.clock(node.clock(second * 1_000_000))
    assert len(it._by_address[2].clock.starts) > 1
    assert {(t.indication.valid, t.indication.motion, t.indication.gross_d) for t in ticks[20:]} == {
        (True, False, 500)
    }


def test_a_creeping_oscillator_is_no_jump_however_seldom_the_host_is_asked() -> None:
    it, node = host(), Node(1, lambda _t: 1_000.0, creep_ppm=90.0)
    flow(it, node)
    for second in range(1, 100):
        it.clock(node.clock(second * 1_000_000))
    ticks = run(it, [node], 100_000_000)
    assert all(t.indication.valid for t in ticks[10:])


def test_without_hysteresis_a_noisy_clock_would_flap_and_with_it_hardly_ever_moves() -> None:
    rng = np.random.Generator(np.random.SFC64(3))
    node = Node(1, lambda _t: 0.0)
    rig = Rig()
    mapped = rig.host._by_address[1].clock
    moves = 0
    half_sample_us = 6_250  # the worst phase: exactly between two instants
    for second in range(1, 120):
        before = list(mapped.shifts)
        now_us = second * 1_000_000
        for frame in node.until(now_us):
            rig.host.take(frame)
        jitter_us = int(rng.integers(-2_500, 2_500))
        rig.host.clock(
            ClockReading(1, now_us + half_sample_us + jitter_us, node.node_t_us(0) + now_us - 12_500, 8_000)
        )
        rig.host.advance(now_us)
        moves += mapped.shifts != before
    assert moves <= 2


def test_a_node_that_was_restarted_is_mapped_anew() -> None:
    rig = Rig(cells=8)
    rig.settle(10_000.0)
    rig.host.link(LinkState(2, "lost", "lost: silent for 1 s", since_us=rig.now_us))
    rig.wait(1.0, drop=lambda f: f.address == 2)
    born_us, old = rig.now_us, rig.nodes[1]
    fresh = Node(2, lambda t_us: old.weight_kg(t_us + born_us), share=0.5, delay_us=4_000)
    rig.host.link(LinkState(2, "flow", since_us=born_us))
    rig.host.clock(ClockReading(2, born_us + 1_000, 1_000, 2_000))
    rig.put(20_000.0)
    for frame in fresh.until(3_000_000):
        rig.host.take(dataclasses.replace(frame, arrived_us=frame.arrived_us + born_us))
    shown = rig.wait(2.9, drop=lambda f: f.address == 2)
    assert shown[-1].valid
    assert shown[-1].gross_d == 1_000


def test_a_node_at_another_rate_never_gives_a_weight() -> None:
    it, node = host(), Node(1, steps, rate_hz=50)
    flow(it, node)
    ticks = run(it, [node], 3_000_000)
    for now_us in range(4_000_000, 20_000_000, 1_000_000):
        it.clock(node.clock(now_us))
        ticks += run(it, [node], now_us)
    assert not any(t.indication.valid for t in ticks)
    assert ticks[-1].indication.reason == "node 1: its clock does not fit its sample counter"


def test_a_sample_far_in_the_future_is_left_out() -> None:
    rig = Rig()
    rig.settle(1_000.0)
    frame = rig.nodes[0].frame(0)
    ahead: Samples = dataclasses.replace(
        frame,
        first=frame.first + 10_000_000,
        node_t_us=frame.node_t_us + 125_000_000_000,
        arrived_us=rig.now_us,
    )
    rig.host.take(ahead)
    assert rig.wait(1.0)[-1].gross_d == 50


@pytest.mark.parametrize("begin", [2**63, 2**64 - 2_000])
def test_a_node_may_begin_to_count_anywhere_in_64_bits(begin: int) -> None:
    it, node = host(), Node(1, lambda _t: 4_000.0, offset_us=begin)
    flow(it, node)
    for frame in node.until(2_000_000):
        it.take(dataclasses.replace(frame, first=frame.first + begin))
    assert it.advance(2_000_000)[-1].indication.gross_d == 200


@pytest.mark.parametrize(
    "changed", [{"first": 2**64 - 1}, {"node_t_us": 2**64 - 1}, {"first": 2**62, "node_t_us": 0}]
)
def test_a_frame_beyond_all_reason_ends_the_session_and_is_told(changed: dict[str, int]) -> None:
    rig = Rig()
    rig.settle(1_000.0)
    frame = dataclasses.replace(rig.nodes[0].frame(0), arrived_us=rig.now_us)
    rig.host.take(dataclasses.replace(frame, **changed))  # type: ignore[arg-type]
    shown = rig.wait(3.0)
    assert shown[-1].reason == "node 1: its clock does not fit its sample counter"
    rig.host.clock(rig.nodes[0].clock(rig.now_us))
    assert rig.wait(3.0)[-1].gross_d == 50


def test_a_sample_seconds_ahead_does_not_take_the_place_of_the_one_to_come() -> None:
    rig = Rig()
    rig.settle(1_000.0)
    node = rig.nodes[0]
    ahead = dataclasses.replace(node.frame(node.next + 400), octets=bytes(128), arrived_us=rig.now_us)
    rig.host.take(ahead)
    assert {i.gross_d for i in rig.wait(8.0)} == {50}


def test_a_clock_that_is_seconds_ahead_gives_no_weight() -> None:
    it, node = host(), Node(1, lambda _t: 4_000.0, offset_us=10_000_000)
    it.link(LinkState(1, "flow"))
    it.clock(ClockReading(1, 0, 7_000_000, 2_000))
    assert not any(t.indication.valid for t in run(it, [node], 8_000_000))


def test_after_a_node_came_back_its_clock_is_read_before_its_samples_count() -> None:
    """Another node may answer at the address, and count from anywhere."""
    rig = Rig()
    rig.settle(1_000.0)
    rig.host.link(LinkState(1, "lost", since_us=rig.now_us))
    rig.host.link(LinkState(1, "flow", since_us=rig.now_us + 100_000))
    assert rig.wait(2.0)[-1].reason == "node 1: clock not read yet"
    rig.host.clock(rig.nodes[0].clock(rig.now_us))
    assert rig.wait(1.0)[-1].gross_d == 50
