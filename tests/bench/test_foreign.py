"""Two benches, each with the other for the end of the link that is somebody else's, on virtual time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.foreign import NO_HOST, NO_NODES, address_of
from benchsim.bench.plan import Foreign, Plan
from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput
from benchsim.link import codec
from benchsim.link.frames import Beat, Header, Kind, Prove, Seek
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan, scale_parts

S = 1_000_000
STEP_US = 5_000
LOAD = ask.Place("block", 18_400.0, 4.0, 1.5)


def bench(made: Plan, foreign: Foreign, seed: int = 1) -> Bench:
    return Bench(replace(made, foreign=foreign), load_profile(made.host.profile), seed)


class Pair:
    """Nodes on one bench, the host on another, frames handed over as they come."""

    def __init__(self, made: Plan) -> None:
        self.nodes = bench(made, Foreign.HOST)
        self.host = bench(made, Foreign.NODES)
        self.frames: list[tuple[int, bytes]] = []
        self.nodes.attach(self._to_host)
        self.host.attach(self.nodes.hear)

    def _to_host(self, frame: bytes) -> None:
        self.frames.append((self.nodes.now_us, frame))
        self.host.hear(frame)

    def run(self, until_s: float) -> None:
        while self.nodes.now_us < until_s * S:
            until_us = self.nodes.now_us + STEP_US
            self.nodes.run(until_us)
            self.host.run(until_us)

    def told(self) -> list[tuple[int, str, str]]:
        return [(s.address, s.step, s.detail) for _, s in self.nodes.trace.link_states]


def test_nodes_and_host_on_two_benches_pair_and_show_the_weight_of_one_whole_bench() -> None:
    made = plan(cells=6, parts=scale_parts(6, ppm=(30.0, -20.0)), up=(Delay(8_000),), down=(Delay(8_000),))
    pair, whole = Pair(made), bench(made, Foreign.NOBODY)
    pair.run(5.0)
    for one in (pair.nodes, whole):
        one.put(5 * S, LOAD)
    pair.run(15.0)
    whole.run(15 * S)
    assert [s.step for s in pair.host.link_states] == ["flow", "flow"]
    assert pair.host.indication.text == whole.indication.text == "18400 kg"
    assert pair.nodes.true_kg() == 18_400.0
    assert pair.host.indication.motion is False


def test_what_frames_meet_on_their_way_still_applies_and_gaps_are_filled() -> None:
    pair = Pair(plan(cells=4, up=(Loss(0.1),), down=(Loss(0.1),)))
    pair.run(12.0)
    assert pair.host.indication.text == "0 kg"
    arrived = sum(frame[1] in (Kind.DATA, Kind.REPEAT) for _, frame in pair.frames)
    kinds = [frame[1] for _, frame in pair.frames]
    assert kinds.count(Kind.REPEAT) > 0
    assert arrived < 12 * 80 // 8


def test_a_node_tells_to_whom_it_is_bound_and_that_it_was_let_go() -> None:
    pair = Pair(plan(cells=4))
    pair.run(2.0)
    pair.host.do(ask.Release(1))
    pair.run(3.0)
    pair.host.do(ask.Pair(1))
    pair.run(5.0)
    bound, free = "serial 0000000000005101, bound to host 0000000000000B0B", "serial 0000000000005101"
    assert pair.told() == [
        (1, "idle", free), (1, "offer", free), (1, "flow", bound), (1, "released", free), (1, "offer", free),
        (1, "flow", bound),
    ]  # fmt: skip


def test_a_node_without_power_and_a_recommissioned_one_are_told() -> None:
    pair = Pair(plan(cells=4))
    pair.run(2.0)
    pair.nodes.do(ask.StartFault("off", "power-loss", 1))
    pair.run(4.0)
    assert (pair.nodes.link_states[0].step, pair.nodes.link_states[0].reason) == ("idle", "without power")
    assert pair.host.link_states[0].step == "lost"
    pair.nodes.do(ask.EndFault("off"))
    pair.run(8.0)
    assert pair.host.link_states[0].step == pair.nodes.link_states[0].step == "flow"
    pair.nodes.do(ask.Recommission(1))
    pair.run(8.01)
    assert "bound" not in pair.nodes.link_states[0].detail


def test_when_a_node_changes_does_not_hang_on_the_pace_of_the_walk() -> None:
    def told(step_us: int) -> list[tuple[int, str, str]]:
        pair = Pair(plan((9.0, ask.StartFault("off", "power-loss", 1)), cells=4))
        pair.run(2.0)
        while pair.nodes.now_us < 12 * S:  # the host says nothing more
            pair.nodes.run(min(pair.nodes.now_us + step_us, 12 * S))
        return [(t_us, s.step, s.reason) for t_us, s in pair.nodes.trace.link_states]

    slow = told(10 * S)
    assert [step for _, step, _ in slow] == ["idle", "offer", "flow", "lost", "idle"]
    assert (slow[0], slow[-1]) == ((0, "idle", ""), (9 * S, "idle", "without power"))
    assert told(10_000) == told(S) == slow


def test_two_benches_give_the_same_frames_at_the_same_times_each_time() -> None:
    first, again = (Pair(plan(cells=4, up=(Loss(0.05),))) for _ in range(2))
    for pair in (first, again):
        pair.run(4.0)
    assert first.frames == again.frames


@pytest.mark.parametrize(
    "command",
    [ask.Zero(), ask.Tare(), ask.Record(), ask.Pair(), ask.Release(1), ask.Ask("scp0499", b"\nW\r")],
)
def test_what_has_no_meaning_without_a_host_is_refused_with_a_reason(command: ask.Command) -> None:
    one = bench(plan((0.5, command)), Foreign.HOST)
    assert not one.indication.valid
    assert one.do(command).reason == NO_HOST
    one.run(S)
    events = [e for e in one.trace.events if not e.done]
    assert [e.t_us for e in events] == [0, S // 2]
    assert all(NO_HOST in e.text for e in events)
    assert one.indication.reason == NO_HOST


@pytest.mark.parametrize(
    "command", [LOAD, ask.Remove("block"), ask.StartFault("x", "outage", 1), ask.Recommission(1)]
)
def test_what_has_no_meaning_without_nodes_is_refused_with_a_reason(command: ask.Command) -> None:
    one = bench(plan((0.5, command)), Foreign.NODES)
    assert one.do(command).reason == NO_NODES
    one.run(S)
    assert [e.done for e in one.trace.events if e.kind != "link" or e.subject != "0"] == [False, False]


def test_the_built_in_host_seeks_foreign_nodes_and_says_that_nobody_is_there() -> None:
    one, out = bench(plan(cells=4), Foreign.NODES), list[bytes]()
    one.attach(out.append)
    one.run(3 * S)
    assert {frame[1] for frame in out} == {Kind.SEEK}
    assert one.link_states[0].step == "failed"
    with pytest.raises(BadInput, match="address 9 is not expected"):
        one.do(ask.Pair(9))


def test_whatever_a_foreign_end_sends_raises_nothing() -> None:
    for foreign in (Foreign.HOST, Foreign.NODES, Foreign.NOBODY):
        one = bench(plan(cells=4), foreign)
        for octets in (b"", b"\0", bytes(2000), bytes(range(200))):
            one.hear(octets)
        one.run(S)


def test_what_is_answered_at_once_goes_out_before_the_next_walk() -> None:
    one, out = bench(plan(cells=4), Foreign.HOST), list[bytes]()
    one.attach(out.append)
    one.run(S)
    header = Header(1, Kind.PROVE, 7, 1, 0, 5, 0)
    one.hear(codec.seal(codec.body_of(header, Prove(0x5101, bytes(16)))))
    assert [frame[1] for frame in out] == [Kind.REFUSE]
    assert one.now_us == S


def test_a_frame_sets_out_for_its_address_and_a_seek_or_what_cannot_be_read_for_all() -> None:
    seek = codec.seal(
        codec.body_of(Header(1, Kind.SEEK, 7, 2, 0, 5, 0), Seek(1, 1, 1, 8, 4, S, S, bytes(32)))
    )
    beat = codec.seal(codec.body_of(Header(1, Kind.BEAT, 7, 2, 0, 5, 0), Beat(1)))
    assert (address_of(seek), address_of(beat), address_of(beat[:-1]), address_of(b"")) == (0, 2, 0, 0)


def test_ends_that_are_started_again_draw_anew_and_the_scale_does_not() -> None:
    def seeks(start: int) -> list[bytes]:
        one, out = bench(replace(plan(cells=4), start=start), Foreign.NODES), list[bytes]()
        one.attach(out.append)
        one.run(S)
        return out

    assert seeks(0) == seeks(0) != seeks(1) != seeks(2)
    first, again = Pair(replace(plan(cells=4), start=1)), Pair(replace(plan(cells=4), start=2))
    for pair in (first, again):
        pair.run(3.0)
    samples = [
        {f[14:22]: f[32:-12] for _, f in pair.frames if f[1] == Kind.DATA} for pair in (first, again)
    ]  # by first sample: all between the header and the tag that is counted and not clocked
    shared = samples[0].keys() & samples[1].keys()
    assert len(shared) > 20
    assert all(samples[0][n] == samples[1][n] for n in shared)
