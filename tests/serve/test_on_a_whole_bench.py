"""A whole scale behind the protocol, on virtual time: motion, a lost node, and a live session had again."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan
from benchsim.ground.commands import ClearTare, InstrumentCommand, Place, PresetTare, StartFault, Tare, Zero
from benchsim.ground.library import shipped
from benchsim.rules.profile import Profile
from benchsim.scenario.build import build
from benchsim.scenario.loader import load
from benchsim.serve.live import MOST_EVENTS, Live

STEP_US = 48_000  # as at four times real speed
SECOND_US = 1_000_000


@pytest.fixture(scope="module")
def parts() -> tuple[Plan, Profile]:
    """The six-cell deck of the demo."""
    plan, profile, _checks = build(load(shipped("scenarios") / "demo.yaml"))
    return plan, profile


class Session:
    """One client of a bench that is walked as a live one is, but without the wall clock."""

    def __init__(self, parts: tuple[Plan, Profile]) -> None:
        self.bench = Bench(*parts, 7)
        self.got: list[bytes] = []
        self.live = Live(self.bench, parts[0].card, "scp0499", lambda _line: None)
        self.client = self.live.join("one", self.got.append)

    def walk(self, until_s: float) -> None:
        while self.bench.now_us < until_s * SECOND_US:
            self.bench.run(min(self.bench.now_us + STEP_US, round(until_s * SECOND_US)))

    def ask(self, octets: bytes) -> bytes:
        self.got.clear()
        self.client.heard(octets)
        return b"".join(self.got)


def test_once_stable_is_answered_when_the_truck_has_come_to_rest(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    session.walk(19.0)
    assert session.ask(b"\nW\r")[4:5] == b"M"
    assert session.ask(b"\nP\r") == b""
    session.walk(30.0)
    assert session.got == [b"\n 1G       36300kg \r"]  # the axles of scenarios/demo.yaml: 36.3 t


def test_a_repeat_comes_once_an_update(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    session.walk(5.0)
    assert session.ask(b"\nR\r") == b"\nZ1G           0kg \r"
    session.got.clear()
    session.walk(6.0)
    assert session.got == [b"\nZ1G           0kg \r"] * parts[0].host.update_hz


def test_no_figure_is_ever_sent_while_a_node_is_lost(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    session.bench.put(30 * SECOND_US, StartFault("gone", "outage", 1))
    session.walk(30.0)
    assert session.ask(b"\nR\r") == b"\n 1G       36300kg \r"
    session.got.clear()
    session.walk(40.0)
    lost = session.got[-60:]
    assert {line[:1] + line[6:16] for line in session.got} == {b"\n     36300", b"\n----------"}
    assert {(line[1:2], line[6:16]) for line in lost} == {(b"E", b"-" * 10)}
    assert session.ask(b"\nT\r")[1:2] == b"T"
    assert session.ask(b"\nP\r") == b""


def test_a_refused_zero_and_tare_are_told_to_who_asked_and_the_others_go_on_getting_the_weight(
    parts: tuple[Plan, Profile],
) -> None:
    session = Session(parts)
    other: list[bytes] = []
    session.live.join("other", other.append).heard(b"\nR\r")
    session.walk(30.0)
    other.clear()
    for asked in (b"\nZ\r", b"\nW\r"):
        assert session.ask(asked) == b"\nE1G  ----------kg \r"
    assert session.ask(b"\nT 999999999\r") == b"\nT1G  ----------kg \r"
    session.walk(34.0)
    assert session.ask(b"\nW\r") == b"\nE1G  ----------kg \r"
    assert set(other) == {b"\n 1G       36300kg \r"}
    late: list[bytes] = []
    session.live.join("late", late.append).heard(b"\nW\r")
    assert late == [b"\n 1G       36300kg \r"]


SENT: list[tuple[float, bytes]] = [
    (5.0, b"\nZ\r"), (13.0, b"\nZ\r"), (24.1, b"\nT\r"), (26.0, b"\nC\r"), (27.2, b"\nT    120.00\r"),
    (28.0, b"\nT     12000\r"), (29.0, b"\x1b\nX\r"), (31.0, b"\nC\r"),
]  # fmt: skip


def test_a_live_session_is_had_again_from_its_events_bit_for_bit(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    given: list[tuple[int, InstrumentCommand]] = []
    known: dict[bytes, InstrumentCommand] = {
        b"Z": Zero(), b"T": Tare(), b"C": ClearTare(), b"T    120.00": PresetTare(Decimal("120.00")),
        b"T     12000": PresetTare(Decimal(12000)),
    }  # fmt: skip
    for at_s, octets in SENT:
        session.walk(at_s)
        if (command := known.get(octets[1:-1])) is not None:
            given.append((session.bench.now_us, command))
        session.ask(octets)
    session.walk(60.0)
    again = Bench(*parts, 7)
    for t_us, command in given:
        again.put(t_us, command)
    again.run(60 * SECOND_US)
    live, virtual = session.bench.trace.columns(), again.trace.columns()
    assert len(given) == 7
    for name in ("t_us", "gross_d", "tare_d", "net_d", "tenths_gross_d", "flags", "true_kg", "cells_kg"):
        np.testing.assert_array_equal(getattr(live, name), getattr(virtual, name), err_msg=name)


def test_a_load_put_on_live_is_read(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    session.walk(5.0)
    session.bench.do(Place("block", 4_000.0, 9.0, 1.5))
    session.walk(11.5)
    assert session.ask(b"\nW\r") == b"\n 1G        4000kg \r"


def test_a_live_bench_keeps_what_is_young_and_lets_the_rest_go(parts: tuple[Plan, Profile]) -> None:
    bench = Bench(*parts, 7)
    live = Live(bench, parts[0].card, "scp0499", lambda _line: None, kept_us=20 * SECOND_US)
    most = 0
    while bench.now_us < 300 * SECOND_US:
        bench.run(bench.now_us + 5 * SECOND_US)
        live.forget()
        most = max(most, len(bench.trace))
    whole = Bench(*parts, 7)
    whole.run(300 * SECOND_US)
    assert most <= (20 + 60 + 5) * parts[0].host.update_hz
    assert bench.trace.last_us() == whole.trace.last_us()
    kept = len(bench.trace)
    assert 20 * parts[0].host.update_hz <= kept < len(whole.trace)
    np.testing.assert_array_equal(bench.trace.columns().true_kg, whole.trace.columns().true_kg[-kept:])
    flowing = {state.address for _, state in bench.trace.link_states if state.step == "flow"}
    assert flowing == {1, 2}


def test_a_client_that_asks_for_zero_without_end_fills_no_memory(parts: tuple[Plan, Profile]) -> None:
    session = Session(parts)
    session.walk(13.0)
    for _ in range(3 * MOST_EVENTS // 500):
        session.ask(b"\nZ\r" * 500)
        session.live.forget()
    events = session.bench.trace.events
    assert len(events) <= 2 * MOST_EVENTS
    assert session.bench.trace.events_gone + len(events) > 3 * MOST_EVENTS
    assert {event.text.split(":")[0] for event in events[-1000:]} == {"zero"}
