"""What is told while a scale is served, and what somebody may type at it, on virtual time."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.bench.bench import Bench
from benchsim.ground import commands as ask
from benchsim.ground.library import shipped
from benchsim.ground.readings import LinkState
from benchsim.scenario.build import build
from benchsim.scenario.loader import load
from benchsim.serve.live import Live
from benchsim.serve.narrator import OVER, Narrator, state_text
from benchsim.serve.typist import Typist

SECOND_US = 1_000_000


class Told:
    """A scenario's bench, walked as it is when served, and all that is told of it."""

    def __init__(self, scenario: str, hides_faults: bool = False) -> None:
        plan, profile, _checks = build(load(shipped("scenarios") / scenario))
        self.bench = Bench(plan, profile, 7)
        self.lines: list[str] = []
        self.ended = 0
        narrator = Narrator(self.bench, plan.timeline, hides_faults)
        self._narrator = narrator
        self.typist = Typist(self.bench, plan.scale.receptor, self.say, self.end, self.news, hides_faults)

    def say(self, line: object, _done: bool = True) -> None:
        self.lines.append(str(line))

    def news(self, _typed: bool = False) -> None:
        for line in self._narrator.news():
            self.say(line)

    def end(self) -> None:
        self.ended += 1

    def walk(self, until_s: float) -> list[str]:
        while self.bench.now_us < until_s * SECOND_US:
            self.bench.run(min(self.bench.now_us + 96_000, round(until_s * SECOND_US)))
            self.news()
        return self.lines

    def type(self, line: str) -> list[str]:
        before = len(self.lines)
        self.typist.typed(line)
        return self.lines[before:]


def texts(lines: list[str]) -> list[str]:
    return [line[12:] for line in lines]


def test_links_loads_and_the_end_of_the_timeline_are_told_in_order_of_time() -> None:
    told = Told("demo.yaml")
    lines = told.walk(75)
    assert texts(lines[:3]) == ["link: pair all", "node 1: pairing", "node 2: pairing"]
    assert [t.split(" (")[0] for t in texts(lines) if "flow" in t] == ["node 1: flow", "node 2: flow"]
    assert "12.000 s    load: drive truck: 5 axles, 36300 kg" in lines
    assert texts(lines)[-2:] == ["load: truck has left the receptor", OVER]
    times = [float(line.split(" ")[0]) for line in lines]
    assert times == sorted(times)
    assert len([t for t in texts(lines) if t == OVER]) == 1


def test_a_node_that_is_lost_is_told_with_its_reason_and_again_when_it_flows() -> None:
    told = Told("demo.yaml")
    told.bench.put(5 * SECOND_US, ask.StartFault("gone", "outage", 1))
    told.bench.put(8 * SECOND_US, ask.EndFault("gone"))
    lines = texts(told.walk(10))
    said = [t.split(" (")[0] for t in lines if t.startswith(("node 1", "fault"))]
    assert said[2:] == [
        "fault: start outage on 1 as gone", "node 1: lost: silent for 1 s", "fault: end fault gone",
        "node 1: flow",
    ]  # fmt: skip


def test_faults_are_left_out_for_who_is_to_find_them() -> None:
    open_, hidden = Told("cell-faults.yaml").walk(46), Told("cell-faults.yaml", hides_faults=True).walk(46)
    assert sum("fault" in line for line in open_) == 5
    assert hidden == [line for line in open_ if "fault" not in line]


def test_what_is_told_is_the_same_when_what_was_told_is_forgotten() -> None:
    whole, forgetful = Told("demo.yaml"), Told("demo.yaml")
    until_s = 75
    for told in (whole, forgetful):
        told.bench.put(40 * SECOND_US, ask.StartFault("gone", "outage", 1))
        told.bench.put(50 * SECOND_US, ask.EndFault("gone"))
    while forgetful.bench.now_us < until_s * SECOND_US:
        forgetful.bench.run(forgetful.bench.now_us + 96_000)
        forgetful.news()
        forgetful.bench.trace.forget_before(forgetful.bench.now_us)
    lines = whole.walk(forgetful.bench.now_us / SECOND_US)
    assert forgetful.lines == lines
    assert forgetful.bench.trace.events_gone > 0


@pytest.mark.parametrize(
    ("state", "text"),
    [
        (LinkState(1, "seek"), "pairing"),
        (LinkState(1, "flow", "", "serial 1"), "flow (serial 1)"),
        (LinkState(1, "failed", "wrong key", "serial 1"), "failed: wrong key (serial 1)"),
        (LinkState(1, "lost", "lost: silent for 1 s"), "lost: silent for 1 s"),
    ],
)
def test_a_link_state_is_told_in_words(state: LinkState, text: str) -> None:
    assert state_text(state) == text


def test_a_trainer_acts_live_and_hears_what_came_of_it() -> None:
    told = Told("demo.yaml")
    told.walk(5)
    assert told.type("place block 18.4 t at 9 m 1.5 m") == [
        "5.000 s     load: place block: 18400 kg at 9 m, 1.5 m"
    ]
    told.walk(5.4)
    assert texts(told.type("zero"))[-1].startswith("command refused: zero: ")
    told.walk(10)
    assert told.bench.indication.gross_d * told.bench.indication.interval == Decimal(18_400)
    assert texts(told.type("record"))[-1] == "command done: record"
    assert texts(told.type("fault wet-connector on 3")) == [
        "fault: start wet-connector on 3 as wet-connector"
    ]
    assert told.bench.faults == ("wet-connector",)
    assert texts(told.type("end wet-connector")) == ["fault: end fault wet-connector"]
    assert texts(told.type("remove block")) == ["load: remove block"]
    assert told.type("remove block") == [
        "10.000 s    load refused: remove block: no load 'block' is on the receptor; nothing is on it"
    ]
    assert told.type("fault wet-connector on 7") == [
        "10.000 s    fault refused: start wet-connector on 7 as wet-connector: "
        "wet-connector on cell 7; there are cells 1 to 6"
    ]
    kinds = [event.kind for event in told.bench.trace.events]
    assert kinds.count("load") == 3
    assert kinds.count("fault") == 3
    assert told.type("plce block") == ["not done: unknown command 'plce'; did you mean 'place'?"]
    assert told.ended == 0
    told.type("quit")
    assert told.ended == 1


def test_a_vehicle_that_is_driven_on_by_hand_stands_is_weighed_and_leaves_when_it_is_sent_on() -> None:
    told = Told("demo.yaml")
    told.walk(5)
    assert texts(told.type("drive van 1.2 t 1.5 t at 10 km/h")) == ["load: drive van: 2 axles, 2700 kg"]
    told.walk(28)
    assert told.bench.indication.text == "39000 kg"  # 36.3 t of the scenario's own truck, and 2.7 t
    told.type("remove van")
    assert "load: van has left the receptor" in texts(told.walk(40))


def test_what_a_client_asks_of_the_instrument_is_told_with_its_outcome() -> None:
    told = Told("demo.yaml")
    told.walk(5)
    client = Live(told.bench, told.bench.plan.card, "scp0499", told.say).join("one", lambda _: None)
    client.heard(b"\nZ\r")
    told.walk(13)
    client.heard(b"\nT\r")
    told.news()
    said = [t for t in texts(told.lines) if t.startswith("command")]
    assert said[0] == "command done: zero"
    assert said[1].startswith("command refused: tare: ")


def test_who_types_a_hidden_fault_hears_that_it_was_done() -> None:
    told = Told("demo.yaml", hides_faults=True)
    assert told.type("fault wet-connector on 3") == ["done"]
    assert told.type("fault wet-connector on 3")[0].startswith("not done: a fault 'wet-connector' is acting")
