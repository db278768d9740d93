"""When updates come, and what is there before the first."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Record, Tare, Zero
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


def test_clearing_and_presetting_need_no_weight() -> None:
    from decimal import Decimal

    it = host()
    assert it.command(PresetTare(Decimal(100)), 0).done
    assert it.indication.tare_d == 5
    assert it.command(ClearTare(), 0).done
    assert it.indication.tare_d == 0
