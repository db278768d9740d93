"""What a tapped bench tells of its frames, and that listening changes nothing."""

from __future__ import annotations

from benchsim.bench.bench import Bench
from benchsim.ground.commands import Place
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.record.frames import Carried
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan

STACK = (Loss(0.1), Delay(4_000, 1_000), Duplicate(0.1))


def bench() -> Bench:
    made = plan((3.0, Place("block", 5_000.0, 2.0, 1.5)), cells=8, seconds=12.0, up=STACK, down=STACK)
    return Bench(made, load_profile("r76-iii"), seed=5)


def tapped() -> tuple[Bench, list[Carried]]:
    made, kept = bench(), list[Carried]()
    made.tap(kept.append)
    made.run(12_000_000)
    return made, kept


def test_a_tapped_bench_runs_as_one_that_nobody_listens_to() -> None:
    quiet = bench()
    quiet.run(12_000_000)
    listened, _ = tapped()
    assert listened.trace.columns().net_d.tolist() == quiet.trace.columns().net_d.tolist()
    assert listened.trace.link_states == quiet.trace.link_states


def test_frames_are_told_in_order_of_time_on_both_ways_of_each_node() -> None:
    _, kept = tapped()
    times = [sent_us for _, sent_us, _, _ in kept]
    assert times == sorted(times)
    assert {way for way, _, _, _ in kept} == {0, 1, 2, 3}
    # The header's direction flag, octet 5 (protocols/nodelink, header): 1 from a node.
    assert all(frame[5] == (way + 1) % 2 for way, _, frame, _ in kept)
    # Octet 4 is the address.  A seek (kind 1) is for everyone, so it goes every way to a node.
    assert all(frame[4] == way // 2 + 1 for way, _, frame, _ in kept if frame[1] != 1)
    assert {(way, frame[4]) for way, _, frame, _ in kept if frame[1] == 1} == {(1, 1), (1, 2), (3, 1), (3, 2)}


def test_what_the_channel_did_is_told() -> None:
    _, kept = tapped()
    arrived = [len(arrivals) for _, _, _, arrivals in kept]
    assert {0, 1, 2} == set(arrived)
    assert all(at_us > sent_us for _, sent_us, _, arrivals in kept for at_us, _ in arrivals)
