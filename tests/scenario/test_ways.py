"""Radio, cable, rate and who else is on the channel: from the file to impairments, and to what is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsim.ground.errors import ManyBadInputs
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.replay import Replay
from benchsim.link.impairments.stranger import Stranger
from benchsim.link.radio import Radio, budget_of, rate_of, stack_of
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.loader import load_text
from benchsim.scenario.run import run
from tests.scenario.texts import HEAD


def built(text: str, seed: int | str | None = None) -> Built:
    return assemble(load_text(HEAD + text, "s.yaml"), seed)


def refused(text: str) -> str:
    with pytest.raises(ManyBadInputs) as caught:
        built(text)
    return str(caught.value)


# -- to impairments ------------------------------------------------------------------------------------


def test_every_figure_of_a_radio_arrives() -> None:
    plan = built(
        "link: {radio: {distance: 0.42 km, frequency: 915 MHz, power: 14 dBm, gains: 3 dBi,\n"
        "  path: log-distance, exponent: 3.2, modulation: noncoherent fsk,\n"
        "  noise figure: 7 dB, bits: 50 kbit/s, bandwidth: 125 kHz, overhead: 12, queue: 3}}\n"
    ).plan
    radio = Radio(
        420.0, 915e6, 14.0, 3.0, (1.5, 1.5), "log-distance", 3.2, 0.0, "noncoherent fsk", 7.0, None, 50_000,
        125e3, 12, 3,
    )  # fmt: skip
    assert plan.nodes[0].up == plan.nodes[0].down == stack_of(radio)
    assert rate_of(radio) == Rate(50_000, 12, 3, 0, 8, 200)


def test_the_heights_of_both_antennas_arrive() -> None:
    way = built("link: {radio: {distance: 300 m, heights: [2 m, 250 cm]}}\n").ways[0][1]
    assert way.budget == budget_of(Radio(300.0, heights_m=(2.0, 2.5)))


@pytest.mark.parametrize(
    ("figures", "error"),
    [
        ("path: free space, heights: [1.5 m, 1.5 m]", "heights on a path of free space; path: two-ray"),
        ("path: log-distance, heights: [2 m, 2 m]", "heights on a path of log-distance; path: two-ray"),
        ("exponent: 2.5", "exponent on a path of two-ray; path: log-distance"),
        ("path: free space, exponent: 2.0", "exponent on a path of free space; path: log-distance"),
        ("sensitivity: -97 dBm, noise figure: 10 dB", "both sensitivity and noise figure; keep one of them"),
        ("shadowing: 3 dB", "shadowing on a path of two-ray; path: log-distance"),
        ("bits: 50 kbit/s", "oqpsk with a rate or bandwidth of its own; leave them out"),
    ],
)
@pytest.mark.parametrize(
    "around",
    [
        "link: {radio: {distance: 9 m, %s}}",
        "nodes: {each: [{cells: [1, 2, 3, 4], link: {radio: {distance: 9 m, %s}}}]}",
    ],
)
def test_a_figure_that_a_radio_has_no_use_for_is_refused(around: str, figures: str, error: str) -> None:
    assert error in refused(around % figures + "\n")


def test_a_sensitivity_arrives() -> None:
    way = built("link: {radio: {distance: 300 m, sensitivity: -97 dBm}}\n").ways[0][1]
    assert way.budget == budget_of(Radio(300.0, sensitivity_dbm=-97.0))


def test_every_figure_of_a_cable_arrives() -> None:
    plan = built(
        "link: {cable: {length: 1.2 km, bits: 9600 bit/s, bits an octet: 11, bit errors: 1 ppm,\n"
        "  overhead: 4, turnaround: 500 us, queue: 2}}\n"
    ).plan
    assert plan.nodes[0].up == (Rate(9600, 4, 2, 0, 11, 500), BitErrors(1e-6), Delay(6))


def test_a_rate_takes_its_time_before_anything_is_lost() -> None:
    plan = built(
        "link: {loss: 1 %, delay: 2 ms,\n"
        "  rate: {bits: 250 kbit/s, overhead: 9, turnaround: 192 us, queue: 4}}\n"
    ).plan
    assert plan.nodes[0].up == (Rate(250_000, 9, 4, 0, 8, 192), Loss(0.01), Delay(2000))


def test_another_network_has_the_rate_of_the_channel_and_meets_what_has_been_sent() -> None:
    stack = (
        built(
            "link: {radio: {distance: 10 m}, replays: 5 %,\n"
            "  other network: {gap: 30 ms, samples per frame: 2, network: 1}}\n"
        )
        .plan.nodes[0]
        .up
    )
    rate, stranger, errors, replay = stack
    assert stranger == Stranger(30_000, 2, 1, rate_of(Radio(10.0)))
    assert (rate, replay) == (rate_of(Radio(10.0)), Replay(0.05))
    assert isinstance(errors, BitErrors)


def test_another_network_needs_no_rate_of_ours() -> None:
    assert built("link: {other network: {}}\n").plan.nodes[0].up == (Stranger(),)


def test_a_node_s_own_way_takes_the_place_of_the_link_s() -> None:
    nodes = "nodes: {each: [{cells: [1, 2]}, {cells: [3, 4], link: {cable: {length: 20 m}}}]}\n"
    plan = built("link: {radio: {distance: 100 m}}\n" + nodes).plan
    assert plan.nodes[0].up == stack_of(Radio(100.0))
    assert plan.nodes[1].up == (Rate(115_200, 2, 16, 0, 10, 0),)


# -- shadowing -----------------------------------------------------------------------------------------

SHADOWED = (
    "link: {radio: {distance: 100 m, path: log-distance, shadowing: 6 dB}}\ncells: {count: 8}\nlasts: 1 s\n"
)


def _drawn(made: Built) -> list[float]:
    return [way.budget.shadowing_db for _, way in made.ways if way.budget is not None]


def test_each_node_draws_its_shadow_once_and_it_is_the_same_both_ways() -> None:
    made = built(SHADOWED)
    first, second = _drawn(made)
    assert first != second
    for node, (_, way) in zip(made.plan.nodes, made.ways, strict=True):
        assert way.budget is not None
        assert node.up == node.down
        assert node.up[1] == BitErrors(way.budget.bit_error)


def test_the_seed_of_a_run_draws_the_shadows(tmp_path: Path) -> None:
    assert _drawn(built(SHADOWED)) == _drawn(built(SHADOWED, 1))  # the file's own seed is 1
    assert _drawn(built(SHADOWED)) != _drawn(built(SHADOWED, 2))
    file = tmp_path / "s.yaml"
    file.write_text(HEAD + SHADOWED, "utf-8")
    assert run(file, 2).ways == built(SHADOWED, 2).ways


# -- what is told --------------------------------------------------------------------------------------


def test_each_node_with_a_radio_or_cable_is_told_and_no_other() -> None:
    nodes = (
        "cells: {count: 12}\nlink: {radio: {distance: 100 m}}\n"
        "nodes: {rate: 160 Hz, strangers: [{strap: 9}], each: [{cells: [1, 2, 3, 4]},\n"
        "  {cells: [5, 6, 7, 8], address: 5, link: {cable: {length: 20 m}, delay: 3 ms}},\n"
        "  {cells: [9, 10, 11, 12], link: {loss: 1 %}}]}\n"
    )
    (one, near), (five, wired) = built(nodes).ways
    assert (one, five) == (1, 5)
    assert near.length_m == 100.0
    assert near.flow.rate_hz == 160
    assert wired.figures.latency_us == 7 * 6250 + 15_452 + 3000
    assert wired.text.startswith("20 m of cable, PER 0 for 176 octets, air time 15.5 ms (31 % of the time)")


def test_a_run_s_document_has_the_links_as_numbers(tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text(HEAD + "lasts: 1 s\nlink: {radio: {distance: 100 m, path: free space}}\n", "utf-8")
    (link,) = run(file).document()["links"]
    assert link["node"] == 1
    assert link["budget"]["path_loss_db"] == pytest.approx(80.231, abs=5e-4)  # ITU-R P.525
    assert (link["octets"], link["air_us"]) == (176, 6720)


# -- refusals ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("link: {radio: {distance: 10 m}, cable: {length: 10 m}}", "both radio and cable"),
        ("link: {cable: {length: 10 m}, rate: {bits: 1 Mbit/s}}", "one of radio, cable and rate"),
        ("link: {radio: {distance: 10 m, bits: 50 kbit/s}}", "leave them out: 250000 bit/s"),
        ("link: {radio: {distance: 10 m, shadowing: 4 dB}}", "path: log-distance"),
        ("link: {radio: {distance: 10 m, power: 4 dB}}", "dBm"),
        ("link: {radio: {distance: 10 m, path: tworay}}", "two-ray"),
        ("link: {radio: {distance: 420}}", "no unit"),
        ("link: {radio: {}}", "'distance' of radio is missing"),
        ("link: {radio: {distance: 10 m, heights: [1 m]}}", "at least 2"),
        ("link: {rate: {bits: 9600}}", "bit/s"),
    ],
)
def test_a_way_that_cannot_be_is_refused_at_its_place(text: str, words: str) -> None:
    told = refused(text)
    assert told.startswith("s.yaml:3:")
    assert words in told


def test_a_node_s_own_way_is_judged_at_its_own_place() -> None:
    told = refused(
        "nodes:\n  each:\n    - cells: [1, 2, 3, 4]\n      link: {radio: {distance: 1 m, shadowing: 3 dB}}\n"
    )
    assert told.startswith("s.yaml:6:")
