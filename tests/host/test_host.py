"""When updates come, and what is there before the first."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Record, Tare, Zero
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import LinkState
from tests.host.feed import Node, Rig, flow, host, run


@pytest.mark.parametrize("update_hz", [1, 10, 50, 80])
def test_updates_stand_at_whole_multiples_of_their_period(update_hz: int) -> None:
    it = host(update_hz=update_hz)
    period_us = 1_000_000 // update_hz
    assert it.advance(period_us - 1) == []
    times = [t.indication.t_us for t in it.advance(2_000_000)]
    assert times == list(range(period_us, 2_000_001, period_us))
    assert it.advance(2_000_000) == []


def test_time_that_stands_still_or_runs_back_gives_no_update() -> None:
    it = host()
    it.advance(1_000_000)
    assert it.advance(500_000) == []
    assert len(it.advance(1_100_000)) == 1


@pytest.mark.parametrize("command", [Zero(), Tare(), Record()])
def test_nothing_is_weighed_before_the_first_update(command: InstrumentCommand) -> None:
    outcome = host().command(command, 0)
    assert (outcome.done, outcome.reason) == (False, "no weight: not paired")


def test_the_latest_indication_is_the_last_update_s() -> None:
    rig = Rig()
    assert rig.settle(1_000.0) == rig.shows


def test_a_sample_that_arrives_after_an_update_is_not_in_it() -> None:
    """The update at 1 s may use what was there at 1 s, though the host is asked much later."""
    early, late = host(averaging_us=100_000), host(averaging_us=100_000)
    for it, delay_us in ((early, 0), (late, 1)):
        node = Node(1, lambda t_us: 1_000.0 if t_us <= 900_000 else 3_000.0, delay_us=delay_us)
        flow(it, node)
        shown = run(it, [node], 5_000_000)
        at_1_s = next(t.indication for t in shown if t.indication.t_us == 1_000_000)
        assert at_1_s.gross_d == (150 if it is early else 50)


@pytest.mark.parametrize(
    ("states", "says"),
    [
        ([LinkState(1, "seek"), LinkState(2, "flow")], "node 1: not paired yet"),
        ([LinkState(1, "prove"), LinkState(2, "flow")], "node 1: not paired yet"),
        ([LinkState(1, "flow")], "node 2: not paired"),
        ([LinkState(1, "flow"), LinkState(2, "idle")], "node 2: not paired"),
        ([LinkState(1, "flow"), LinkState(2, "released")], "node 2: released"),
        ([LinkState(1, "flow"), LinkState(2, "failed", "wrong key")], "node 2: wrong key"),
        (
            [LinkState(1, "lost", "lost: silent for 2 s"), LinkState(2, "failed", "wrong key")],
            "node 1: lost: silent for 2 s",
        ),
        ([LinkState(1, "idle"), LinkState(2, "idle")], "not paired"),
    ],
)
def test_the_reason_names_the_first_node_that_does_not_flow(states: list[LinkState], says: str) -> None:
    it = host(cells=8)
    for state in states:
        it.link(state)
    assert it.advance(100_000)[-1].indication.reason == says


def test_a_state_to_come_counts_from_its_own_time() -> None:
    rig = Rig()
    rig.settle(0.0)
    rig.host.link(LinkState(1, "lost", since_us=rig.now_us + 450_000))
    assert [i.valid for i in rig.wait(0.6)] == [True] * 4 + [False] * 2


def test_a_preset_tare_needs_an_instrument_that_weighs_and_clearing_needs_nothing() -> None:
    it = host()
    outcome = it.command(PresetTare(Decimal(100)), 0)
    assert (outcome.done, outcome.reason) == (False, "no weight: not paired")
    assert it.indication.tare_d == 0
    assert it.command(ClearTare(), 0).done


def test_a_tare_outlives_a_lost_node() -> None:
    rig = Rig()
    rig.settle(1_000.0)
    assert rig.ask(PresetTare(Decimal(100))).done
    rig.host.link(LinkState(1, "lost", since_us=rig.now_us))
    assert rig.wait(0.1)[-1].tare_d == 5
    assert rig.ask(ClearTare()).done
    assert rig.shows.tare_d == 0


def test_a_node_that_joins_last_is_named_until_it_has_sent_enough() -> None:
    it = host(cells=8)
    nodes = [Node(a, lambda _t: 1_000.0, share=0.5) for a in (1, 2)]
    flow(it, nodes[0])
    nodes[1].next = 160  # it begins at 2 s
    run(it, nodes, 2_000_000)
    flow(it, nodes[1], at_us=2_000_000)
    reasons = [t.indication.reason for t in run(it, nodes, 2_400_000)]
    assert reasons[-1] == "node 2: too few samples yet"
    assert all(reason.startswith("node 2: ") for reason in reasons)
    assert run(it, nodes, 2_700_000)[-1].indication.valid


@pytest.mark.parametrize(("profile", "rate_hz", "lowest"), [("hb44-iii", 2, "at least 3 Hz under hb44-iii")])
def test_a_rate_at_which_stability_cannot_be_judged_is_refused(
    profile: str, rate_hz: int, lowest: str
) -> None:
    with pytest.raises(BadInput, match=lowest):
        host(profile, rate_hz=rate_hz)


@pytest.mark.parametrize(("profile", "rate_hz"), [("hb44-iii", 3), ("hb44-iiil-vehicle", 3), ("r76-iii", 1)])
def test_at_the_lowest_rate_motion_still_shows(profile: str, rate_hz: int) -> None:
    rig = Rig(profile, rate_hz=rate_hz, rows=1, waiting_us=2_000_000)
    rig.put(1_000.0)
    rig.wait(6.0)
    assert any(not i.motion for i in rig.wait(1.0))  # while its newest sample is not too old
    rig.put(2_000.0)
    period = 1.0 / rate_hz
    assert all(i.motion for i in rig.wait(period + 0.2) if i.gross_d > 50)
    assert any(not i.motion and i.gross_d == 100 for i in rig.wait(3 * period))
