"""The lamp on a node follows power, supply, self-test and link, and what it newly tells is an event."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.lamp import MEANINGS, lamp
from benchsim.ground import commands as ask
from benchsim.link.steps import Step
from benchsim.rules.profile import load_profile
from benchsim.scale.supply import BATTERY, Supply
from tests.bench.plans import plan

S = 1_000_000


def ran(*timeline: tuple[float, ask.Command], seconds: float = 10.0, supply: Supply | None = None) -> Bench:
    made = plan(*timeline, cells=8)
    if supply is not None:
        made = replace(made, nodes=(replace(made.nodes[0], supply=supply), *made.nodes[1:]))
    bench = Bench(made, load_profile("r76-iii"), 1)
    bench.run(round(seconds * S))
    return bench


def node_events(bench: Bench) -> list[tuple[float, str]]:
    return [(e.t_us / S, e.text) for e in bench.trace.events if e.kind == "node"]


def test_a_sound_node_is_steady_and_tells_nothing() -> None:
    bench = ran()
    assert bench.lamps == ("steady", "steady")
    assert node_events(bench) == []


SHOWN = {Step.FLOW: "steady", Step.OFFER: "quick flash", Step.LOST: "fading"}


@pytest.mark.parametrize("step", Step)
def test_each_step_of_the_link_has_its_lamp_and_every_lamp_a_meaning(step: Step) -> None:
    assert lamp(True, False, ("good",), step) == SHOWN.get(step, "slow flash")
    assert lamp(True, False, ("good",), step) in MEANINGS


def test_the_worst_is_shown() -> None:
    assert lamp(False, True, ("open",), Step.FLOW) == "dark"
    assert lamp(True, True, ("open",), Step.FLOW) == "flickering"
    assert lamp(True, False, ("good", "open"), Step.FLOW) == "double flash"


def test_a_fault_shows_on_the_lamp_of_its_node_and_goes_out_with_it() -> None:
    bench = ran(
        (4.0, ask.StartFault("it", "open-terminal", 6)), (5.0, ask.EndFault("it")),
        (6.0, ask.StartFault("off", "power-loss", 1)),
    )  # fmt: skip
    assert node_events(bench) == [
        (4.0, "node 2: lamp double flash: a channel fails its self-test (channel 2: open)"),
        (5.0, "node 2: lamp steady: its samples flow"),
        (6.0, "node 1: lamp dark: no power"),
    ]
    assert bench.lamps == ("dark", "steady")


def test_a_node_on_an_emptying_battery_browns_out_and_comes_back_again_and_again() -> None:
    bench = ran(seconds=30.0, supply=Supply(BATTERY, charge=0.018, lasts_h=1.0))
    shown = [text.split("lamp ")[1].split(":")[0] for _, text in node_events(bench)]
    assert shown.count("dark") >= 3
    assert shown.count("flickering") >= 3
    steps = [s.step for _, s in bench.trace.link_states if s.address == 1]
    assert steps.count("flow") >= 2
    assert {s.step for _, s in bench.trace.link_states if s.address == 2} <= {"seek", "prove", "flow"}


def test_the_pace_of_the_walk_does_not_show_in_a_brown_out() -> None:
    supply = Supply(BATTERY, charge=0.018, lasts_h=1.0)
    at_once = ran(seconds=20.0, supply=supply)
    made = at_once.plan
    slowly = Bench(made, load_profile("r76-iii"), 1)
    for n in range(1, 201):
        slowly.run(n * S // 10)
    assert node_events(slowly) == node_events(at_once)
    assert slowly.trace.link_states == at_once.trace.link_states
    assert slowly.trace.columns().gross_d.tolist() == at_once.trace.columns().gross_d.tolist()
