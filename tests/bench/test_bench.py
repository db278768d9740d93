"""All parts on one virtual clock."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan
from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Indication
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan, scale_parts

LOAD = ask.Place("block", 18_400.0, 4.0, 1.5)
S = 1_000_000


def run(made: Plan, seconds: float, seed: int = 1) -> Bench:
    bench = Bench(made, load_profile(made.host.profile), seed)
    bench.run(round(seconds * S))
    return bench


def test_a_mass_on_the_deck_comes_out_as_an_indication() -> None:
    bench = run(plan((5.0, LOAD), cells=4), 15)
    shown = bench.indication
    assert [s.step for s in bench.link_states] == ["flow"]
    assert shown.valid
    assert not shown.motion
    assert shown.gross_d == 18_400 // 20
    assert bench.true_kg() == 18_400.0


@pytest.mark.parametrize("cells", [1, 2, 3, 4, 5, 6, 8, 12, 16])
def test_any_number_of_cells_sums_to_the_same_weight(cells: int) -> None:
    bench = run(plan((5.0, ask.Place("block", 10_000.0, 2.5, 1.5)), cells=cells), 15)
    assert bench.indication.text == "10000 kg"
    assert len(bench.link_states) == -(-cells // 4)


def test_the_host_waits_for_the_link_before_it_shows_a_weight() -> None:
    bench = Bench(plan(), load_profile("r76-iii"), 1)
    seen: list[Indication] = []
    bench.watch(seen.append)
    bench.run(5 * S)
    assert not seen[0].valid
    assert seen[0].reason
    assert seen[-1].valid
    assert [i.t_us for i in seen] == list(range(100_000, 5 * S + 1, 100_000))


def test_a_fault_acts_from_its_start_to_its_end() -> None:
    made = plan(
        (5.0, LOAD),
        (12.0, ask.StartFault("drift", "zero-shift", 1, {"shift_mv_per_v": 0.2})),
        (20.0, ask.EndFault("drift")),
        cells=4,
    )
    bench = run(made, 30)
    at = [bench.trace.indication_at(t * S) for t in (11, 19, 29)]
    figures = [i.gross_d for i in at if i is not None]
    assert figures[0] == figures[2] == 920
    assert figures[1] > 1_000
    assert bench.faults == ()


def test_a_node_without_power_makes_the_weight_invalid_and_names_itself() -> None:
    made = plan(
        (5.0, LOAD),
        (10.0, ask.StartFault("off", "power-loss", 2)),
        (15.0, ask.EndFault("off")),
        cells=8,
    )
    bench = run(made, 25)
    away, back = bench.trace.indication_at(14 * S), bench.trace.indication_at(24 * S)
    assert away is not None
    assert not away.valid
    assert "node 2" in away.reason
    assert back is not None
    assert back.valid
    assert back.gross_d == 920


def test_a_virtual_client_gets_what_host_software_would_get() -> None:
    bench = run(plan((5.0, LOAD), (15.0, ask.Ask("scp0499", b"\nW\r"))), 16)
    answers = [e for e in bench.trace.events if e.kind == "answer"]
    assert [(e.subject, e.octets) for e in answers] == [("scp0499", b"\n 1G       18400kg \r")]


def test_a_command_and_what_it_came_to_are_events() -> None:
    bench = run(plan((5.0, LOAD), (5.2, ask.Record()), (12.0, ask.Record()), (13.0, ask.Tare())), 14)
    commands = [(e.subject, e.done) for e in bench.trace.events if e.kind == "command"]
    assert commands == [("record", False), ("record", True), ("tare", True)]
    assert bench.indication.shows_net
    assert bench.indication.net_d == 0


def test_what_can_have_no_meaning_is_refused() -> None:
    bench = run(plan(), 1)
    for command in (
        ask.Remove("nothing"),
        ask.EndFault("none"),
        ask.StartFault("x", "wet-conector", 1),
        ask.StartFault("x", "wet-connector", 9),
        ask.StartFault("x", "mud", 2),
        ask.StartFault("x", "low-support", 0, {"support": 9}),
        ask.Ask("morse", b"W"),
        ask.Recommission(9),
    ):
        with pytest.raises(BadInput):
            bench.do(command)
    assert bench.faults == ()


def test_a_refused_fault_leaves_no_trace_on_the_parts() -> None:
    bench = run(plan(), 3)
    with pytest.raises(BadInput):
        bench.do(ask.StartFault("low", "low-support", 0, {"support": 9}))
    assert bench.do(ask.StartFault("shift", "zero-shift", 1)).done
    bench.run(5 * S)
    assert bench.do(ask.EndFault("shift")).done
    assert bench.faults == ()


def test_slow_faults_that_together_cannot_be_are_refused_at_their_start() -> None:
    bench = run(plan(), 3)
    for number in range(3):
        assert bench.do(
            ask.StartFault(f"drift {number}", "reference-drift", 1, {"drift": -0.3, "over_us": 20 * S})
        ).done
    with pytest.raises(BadInput, match="reference_error"):
        bench.do(ask.StartFault("one too many", "reference-drift", 1, {"drift": -0.3, "over_us": 20 * S}))
    assert len(bench.faults) == 3
    bench.run(40 * S)


def columns(bench: Bench) -> bytes:
    made = bench.trace.columns()
    return (
        b"".join(
            a.tobytes()
            for a in (made.t_us, made.gross_d, made.net_d, made.tenths_gross_d, made.flags, made.cells_kg)
        )
        + repr((bench.trace.events, bench.trace.link_states)).encode()
    )


def busy() -> Plan:
    stack = (Loss(0.03), Delay(4_000, 3_000))
    truck = ask.Drive(
        "truck", (ask.Axle(6_000, 0), ask.Axle(9_000, 3.5), ask.Axle(9_000, 4.8)), 3.0, 9.0, 1.5, 6 * S
    )
    return plan(
        (4.0, ask.Zero()),
        (4.013, LOAD),
        (7.0, ask.StartFault("wet", "wet-connector", 3, {"soaking_us": 9 * S})),
        (7.3, ask.StartFault("mud", "mud")),
        (7.4, ask.StartFault("sun", "temperature-swing")),
        (16.4, ask.EndFault("wet")),
        (8.5, ask.Tare()),
        (9.0, ask.Remove("block")),
        (9.5, truck),
        (11.0, ask.StartFault("gone", "outage", 2)),
        (13.2, ask.EndFault("gone")),
        (15.0, ask.Ask("scp0499", b"\nR\r")),
        cells=8,
        seconds=20,
        up=stack,
        down=stack,
        parts=scale_parts(8, ppm=(60.0, -80.0)),
    )


def test_one_seed_gives_one_result_and_another_seed_another() -> None:
    first = columns(run(busy(), 20))
    assert columns(run(busy(), 20)) == first
    assert columns(run(busy(), 20, seed=2)) != first


@pytest.mark.parametrize("step_us", [1_000, 12_500, 99_999, 333_333, 7_000_000])
def test_the_pace_of_the_walk_does_not_show(step_us: int) -> None:
    """Live is the same walk in small steps: so a live session and a virtual run come out the same."""
    whole = columns(run(busy(), 20))
    bench = Bench(busy(), load_profile("r76-iii"), 1)
    while bench.now_us < 20 * S:
        bench.run(min(bench.now_us + step_us, 20 * S))
    assert columns(bench) == whole


def simultaneous(samples_per_frame: int, delay_us: int) -> Plan:
    """All nodes send at the same instants, and what is sent arrives when the next is sent."""
    stack = (Loss(0.2), Delay(delay_us))
    return plan((3.0, LOAD), cells=8, seconds=10, up=stack, down=stack, samples_per_frame=samples_per_frame)


@pytest.mark.parametrize(("k", "delay_us"), [(1, 12_500), (1, 5_000), (1, 0), (8, 100_000), (8, 50_000)])
@pytest.mark.parametrize("step_us", [12_500, 50_000, 77_777, 100_000])
def test_the_pace_does_not_show_where_many_things_happen_at_one_instant(
    k: int, delay_us: int, step_us: int
) -> None:
    whole = columns(run(simultaneous(k, delay_us), 10))
    bench = Bench(simultaneous(k, delay_us), load_profile("r76-iii"), 1)
    while bench.now_us < 10 * S:
        bench.run(min(bench.now_us + step_us, 10 * S))
    assert columns(bench) == whole


def test_a_node_let_go_gives_no_weight_to_a_record_at_the_same_instant() -> None:
    bench = run(plan((3.0, LOAD)), 10)
    assert bench.do(ask.Record()).done
    bench.do(ask.Release(1))
    refused = bench.do(ask.Record())
    assert not refused.done
    assert "node 1" in refused.reason


def test_what_was_asked_in_vain_stands_in_the_trace() -> None:
    bench = Bench(plan((2.0, ask.Remove("nothing"))), load_profile("r76-iii"), 1)
    with pytest.raises(BadInput):
        bench.run(5 * S)
    assert bench.trace.ended_us == 2 * S
    last = bench.trace.events[-1]
    assert (last.kind, last.subject, last.done) == ("load", "nothing", False)
    bench.run(5 * S)
    assert bench.indication.valid


def test_a_client_is_heard_before_it_is_answered() -> None:
    bench = run(plan((5.0, ask.Ask("scp0499", b"\nW\r"))), 6)
    kinds = [e.kind for e in bench.trace.events if e.t_us == 5 * S]
    assert kinds == ["client", "answer"]


def test_faults_that_come_to_ask_for_what_cannot_be_end_with_an_event() -> None:
    bench = run(plan(), 3)
    for number in range(4):
        swing = ask.StartFault(
            f"swing {number}", "temperature-swing", 0, {"amplitude_k": 60.0, "period_us": 60 * S}
        )
        assert bench.do(swing).done
    bench.run(40 * S)
    ended = [e for e in bench.trace.events if e.kind == "fault" and not e.done]
    assert ended
    assert ended[0].subject == "swing 3"
    assert len(bench.faults) == 4 - len(ended)


def test_a_command_given_live_is_the_same_as_one_of_the_timeline() -> None:
    planned = run(plan((5.0, LOAD), (12.0, ask.PresetTare(Decimal(400)))), 15)
    live = Bench(plan(), load_profile("r76-iii"), 1)
    live.run(5 * S)
    live.do(LOAD)
    live.run(12 * S)
    assert live.do(ask.PresetTare(Decimal(400))).done
    live.run(15 * S)
    assert columns(live) == columns(planned)


def test_the_number_of_samples_in_a_frame_does_not_change_a_settled_weight() -> None:
    shown = {k: run(plan((5.0, LOAD), samples_per_frame=k), 15).indication.text for k in (1, 8, 40)}
    assert set(shown.values()) == {"18400 kg"}
