"""The items of a timeline become commands in order; what cannot be is refused before the run."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground import commands as ask
from benchsim.scenario.timeline import MAX_REPEATS
from tests.scenario.texts import DECK, built, told

T = DECK + "timeline:\n"


def commands(*items: str) -> list[tuple[int, ask.Command]]:
    text = T + "".join(f"  - {item}\n" for item in items)
    return [(s.t_us, s.command) for s in built(text).plan.timeline]


def test_loads_are_placed_moved_and_removed() -> None:
    assert commands(
        "{at: 5 s, place: 18.4 t, name: block, position: [9 m, 1 m]}",
        "{at: 6 s, place: 100 kg, name: crate}",
        "{at: 1 min, move: block, position: over cell 1}",
        "{at: 61.5 s, remove: block}",
        "{at: 62 s, place: 1 t, name: block, position: centred}",
    ) == [
        (5_000_000, ask.Place("block", 18_400, 9, 1)),
        (6_000_000, ask.Place("crate", 100, 9, 1.5)),
        (60_000_000, ask.Move("block", 0.15, 0.15)),
        (61_500_000, ask.Remove("block")),
        (62_000_000, ask.Place("block", 1000, 9, 1.5)),
    ]


def test_a_vehicle_is_made_of_axle_groups_and_stops_in_the_middle() -> None:
    [(t_us, drive)] = commands(
        "{at: 10 s, drive: truck, axles: [{mass: 7 t}, {mass: 24 t, behind: 5 m, axles: 3, spacing: 1.5 m}],"
        " speed: 7.2 km/h, stands: 20 s}"
    )
    assert t_us == 10_000_000
    assert isinstance(drive, ask.Drive)
    assert drive.axles == (ask.Axle(7000, 0), ask.Axle(8000, 5), ask.Axle(8000, 6.5), ask.Axle(8000, 8))
    assert drive.speed_m_per_s == pytest.approx(2)
    assert (drive.stop_x_m, drive.y_m, drive.stands_us) == (13, 1.5, 20_000_000)


def test_commands_to_the_instrument_can_be_given_again_and_again() -> None:
    assert commands(
        "{at: 1 s, command: zero}",
        "{at: 2 s, command: preset tare, value: 1.25 t}",
        "{at: 3 s, command: record, every: 500 ms, until: 4 s}",
        "{at: 3.2 s, command: tare, every: 1 s, for: 1 s}",
    ) == [
        (1_000_000, ask.Zero()),
        (2_000_000, ask.PresetTare(Decimal(1250))),
        (3_000_000, ask.Record()),
        (3_200_000, ask.Tare()),
        (3_500_000, ask.Record()),
        (4_000_000, ask.Record()),
        (4_200_000, ask.Tare()),
    ]


def test_faults_begin_and_end_with_their_figures() -> None:
    assert commands(
        "{at: 1 s, fault: zero-shift, on: cell 3, as: knock, with: {shift: 30 uV/V}, for: 2 s}",
        "{at: 2 s, fault: outage, on: node 2}",
        "{at: 4 s, end fault: outage}",
        "{at: 5 s, fault: outage, until: 6 s}",
        "{at: 6 s, fault: mud}",
    ) == [
        (1_000_000, ask.StartFault("knock", "zero-shift", 3, {"shift_mv_per_v": 0.03})),
        (2_000_000, ask.StartFault("outage", "outage", 2, {})),
        (3_000_000, ask.EndFault("knock")),
        (4_000_000, ask.EndFault("outage")),
        (5_000_000, ask.StartFault("outage", "outage", 0, {})),
        (6_000_000, ask.EndFault("outage")),
        (6_000_000, ask.StartFault("mud", "mud", 0, {})),
    ]


def test_a_fault_that_ends_at_zero_seconds_into_a_repeat_keeps_the_file_s_order() -> None:
    kinds = [type(c) for _, c in commands("{at: 1 s, command: zero}", "{at: 1 s, command: record}")]
    assert kinds == [ask.Zero, ask.Record]


def test_the_link_is_told_and_clients_ask() -> None:
    assert commands(
        "{at: 1 s, pair: all}",
        "{at: 2 s, pair: address 2}",
        "{at: 3 s, release: address 1}",
        "{at: 4 s, recommission: address 1}",
        r'{at: 5 s, ask: scp0499, send: "\nW\r\xe9"}',
    ) == [
        (1_000_000, ask.Pair(0)),
        (2_000_000, ask.Pair(2)),
        (3_000_000, ask.Release(1)),
        (4_000_000, ask.Recommission(1)),
        (5_000_000, ask.Ask("scp0499", b"\nW\r\xe9")),
    ]


@pytest.mark.parametrize(
    ("items", "column", "error"),
    [
        (
            ["{at: 5 s, command: zero}", "{at: 4 s, command: zero}"],
            10,
            "at: 4 s lies before the item above it (5 s)",
        ),
        (["{at: 5 s, remove: b}"], 23, "unknown load 'b'; none is on the receptor"),
        (
            ["{at: 1 s, place: 1 t, name: box}", "{at: 2 s, move: bix, position: centred}"],
            21,
            "unknown load 'bix'; did you mean 'box'?",
        ),
        (
            ["{at: 1 s, place: 1 t, name: b}", "{at: 2 s, place: 1 t, name: b}"],
            33,
            "a load named 'b' is on the receptor already",
        ),
        (
            ["{at: 1 s, place: 1 t, name: b, position: [19 m, 1 m]}"],
            46,
            "19 m, 1 m lies outside the receptor; from 0 m, 0 m to 18 m, 3 m",
        ),
        (
            ["{at: 1 s, place: 1 t, name: b, position: [1 m, -1 m]}"],
            46,
            "1 m, -1 m lies outside the receptor",
        ),
        (["{at: 1 s, place: 1 t, name: b, position: over cell 7}"], 46, "there is no cell 7; cells 1 to 6"),
        (
            ["{at: 1 s, drive: v, axles: [{mass: 1 t}, {mass: 1 t, behind: 19 m}]}"],
            32,
            "the vehicle needs 19 m between its first and last axle; the receptor is 18 m long",
        ),
        (["{at: 1 s, drive: v, axles: [{mass: 1 t, behind: 1 m}]}"], 53, "behind: 1 m for the first axle"),
        (
            ["{at: 1 s, drive: v, axles: [{mass: 1 t, axles: 2}, {mass: 1 t, behind: 1 m}]}"],
            76,
            "behind: 1 m is not behind the axles before it; more than 1.3 m",
        ),
        (
            ["{at: 1 s, drive: v, axles: [{mass: 1 t}], stop: 19 m}"],
            53,
            "stop: 19 m lies outside the receptor; from 0 m to 18 m",
        ),
        (
            ["{at: 1 s, drive: v, axles: [{mass: 1 t}], lane: 4 m}"],
            53,
            "lane: 4 m lies outside the receptor; from 0 m to 3 m",
        ),
        (["{at: 1 s, command: preset tare}"], 5, "a preset tare without a value"),
        (["{at: 1 s, command: tare, value: 1 t}"], 30, "tare takes no value"),
        (["{at: 1 s, command: record, every: 1 s}"], 32, "every without until or for"),
        (["{at: 1 s, command: record, until: 2 s}"], 5, "until or for without every"),
        (["{at: 1 s, command: record, every: 1 s, until: 2 s, for: 1 s}"], 56, "both until and for"),
        (["{at: 3 s, command: record, every: 1 s, until: 2 s}"], 51, "until: 2 s is not after 3 s"),
        (
            ["{at: 1 s, command: record, every: 1 us, for: 1 s}"],
            39,
            f"every: 1000001 times; at most {MAX_REPEATS}",
        ),
        (["{at: 1 s, fault: zero-shft}"], 22, "unknown fault 'zero-shft'; did you mean 'zero-shift'?"),
        (
            ["{at: 1 s, fault: zero-shift, on: node 1}"],
            38,
            "on: zero-shift on node 1; it acts on cell 1 to 6, or all",
        ),
        (
            ["{at: 1 s, fault: outage, on: cell 1}"],
            34,
            "on: outage on cell 1; it acts on node 1 to 2, or all",
        ),
        (
            ["{at: 1 s, fault: outage, on: node 3}"],
            34,
            "on: outage on node 3; it acts on node 1 to 2, or all",
        ),
        (["{at: 1 s, fault: mud, on: cell 1}"], 31, "on: cell 1; mud acts on the whole deck"),
        (
            ["{at: 1 s, fault: zero-shift, with: {shft: 1 mV/V}}"],
            40,
            "unknown parameter of zero-shift 'shft'; did you mean 'shift'?",
        ),
        (
            ["{at: 1 s, fault: zero-shift, with: {shift: 9 mV/V}}"],
            40,
            "shift: 9 mV/V is out of range; allowed: -5 mV/V to 5 mV/V",
        ),
        (
            ["{at: 1 s, fault: mud}", "{at: 2 s, fault: mud}"],
            5,
            "a fault named 'mud' acts already; give this one another name with as:",
        ),
        (
            ["{at: 1 s, end fault: mud}"],
            26,
            "unknown acting fault 'mud'; no fault begins before it on the timeline",
        ),
        (
            ["{at: 1 s, fault: outage, for: 1 s}", "{at: 3 s, end fault: outage}"],
            26,
            "unknown acting fault 'outage'; no fault acts at that time",
        ),
        (["{at: 1 s, pair: address 3}"], 21, "pair: no node at address 3; addresses: 1, 2"),
        (["{at: 1 s, release: address 3}"], 24, "release: no node at address 3"),
        (["{at: 1 s, recommission: address 3}"], 29, "recommission: no node at address 3"),
        (["{at: 1 s, ask: nobody, send: x}"], 20, "unknown protocol 'nobody'"),
        (["{at: 1 s, ask: scp0499, send: €}"], 35, "send: '€' is not one octet"),
    ],
)
def test_an_item_that_cannot_be_is_refused_at_its_place(items: list[str], column: int, error: str) -> None:
    lines = told(T + "".join(f"  - {item}\n" for item in items))
    assert lines[0].startswith(f"s.yaml:{len(items) + 5}:{column}: {error}")
    assert len(lines) == 1


def test_the_address_of_a_misplaced_strap_can_be_recommissioned() -> None:
    nodes = "nodes: {each: [{cells: [1, 2, 3]}, {cells: [4, 5, 6], strap: 9}]}\n"
    plan = built(DECK + nodes + "timeline: [{at: 1 s, recommission: address 9}]\n").plan
    assert plan.timeline[0].command == ask.Recommission(9)
    assert [e.address for e in plan.link.expected] == [1, 2]


def test_a_vehicle_that_leaves_by_itself_frees_its_name() -> None:
    two = [
        "{at: 1 s, drive: car, axles: [{mass: 1 t}], stands: 1 s}",
        "{at: 90 s, drive: car, axles: [{mass: 1 t}], stands: 1 s}",
    ]
    assert len(commands(*two)) == 2
