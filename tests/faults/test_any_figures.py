"""Whatever figures a fault is given, at whatever age, the scale and the link go on with what it makes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from benchsim.faults.fault import HOUR_US, STAGES, Entry, Parameter, Value, catalogue
from benchsim.ground.commands import Place
from benchsim.ground.randomness import Streams
from benchsim.host.host import Host
from benchsim.link.channel import Channel
from benchsim.link.parts import check_host, check_node
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import ScaleParts
from benchsim.scale.scale import Scale
from benchsim.scale.validate import check
from tests.bench.plans import scale_parts
from tests.faults.healthy import HOST, NODE

CELLS = 8
DECK = scale_parts(CELLS)
OF_THE_SCALE = ("site", "deck", "cell", "wiring")


def _value(parameter: Parameter) -> st.SearchStrategy[Value]:
    if parameter.words:
        return st.sampled_from(parameter.words)
    if parameter.name == "support":
        return st.integers(1, CELLS)
    if isinstance(parameter.default, int):
        return st.integers(int(parameter.low), int(parameter.high))
    return st.floats(parameter.low, parameter.high)


def _figures(entry: Entry) -> st.SearchStrategy[tuple[Entry, dict[str, Value]]]:
    figures = st.fixed_dictionaries({}, optional={p.name: _value(p) for p in entry.parameters})
    return st.tuples(st.just(entry), figures)


def faults(*stages: str) -> st.SearchStrategy[tuple[Entry, dict[str, Value]]]:
    """A fault of one of these stages with any figures it allows."""
    return st.sampled_from([e for e in catalogue().values() if e.stage in stages]).flatmap(_figures)


ages_us = st.integers(0, 2000 * HOUR_US)


def folded(parts: ScaleParts, entry: Entry, figures: dict[str, Value], age_us: int) -> ScaleParts:
    """The scale with the fault on its first cell, or on the whole."""

    def fold(part: Any) -> Any:
        return entry.make(figures).fold(part, age_us)

    match entry.stage:
        case "site":
            return replace(parts, site=fold(parts.site))
        case "deck":
            return replace(parts, receptor=fold(parts.receptor))
        case "cell":
            return replace(parts, cells=(fold(parts.cells[0]), *parts.cells[1:]))
        case "wiring":
            return replace(parts, wiring=(fold(parts.wiring[0]), *parts.wiring[1:]))
    node = fold(replace(NODE, digitiser=parts.stations[0].digitiser))
    return replace(
        parts, stations=(replace(parts.stations[0], digitiser=node.digitiser), *parts.stations[1:])
    )


@given(st.lists(st.tuples(faults(*OF_THE_SCALE, "node"), ages_us), min_size=1, max_size=3))
def test_a_scale_goes_on_with_any_faults_on_it(
    acting: list[tuple[tuple[Entry, dict[str, Value]], int]],
) -> None:
    scale = Scale(DECK, Streams(1))
    scale.do(Place("block", 18_400.0, 4.0, 1.5), 100_000)
    parts = DECK
    for (entry, figures), age_us in acting:
        parts = folded(parts, entry, figures, age_us)
    check(parts)
    scale.change(parts, 500_000)
    block = scale.read(0, 1_000_000)
    limit = 2 ** (parts.stations[0].digitiser.bits - 1)
    assert block.counts.shape[1] == 4
    assert (block.counts >= -limit).all()
    assert (block.counts < limit).all()


@given(faults("node"), ages_us)
def test_a_node_is_still_a_node(fault: tuple[Entry, dict[str, Value]], age_us: int) -> None:
    entry, figures = fault
    check_node(entry.make(figures).fold(NODE, age_us).card)


@given(faults("link"), ages_us, st.lists(st.integers(0, 1_000_000), max_size=20))
def test_a_link_carries_frames_forward_in_time(
    fault: tuple[Entry, dict[str, Value]], age_us: int, gaps_us: list[int]
) -> None:
    entry, figures = fault
    part = entry.make(figures).fold(STAGES["link"](), age_us)
    for stack in (part.up, part.down):
        channel, sent_us = Channel(stack, Streams(1)), 0
        for gap_us in gaps_us:
            sent_us += gap_us
            assert all(arrived_us >= sent_us for arrived_us, _ in channel.carry(b"frame", sent_us))


@given(faults("host"), ages_us)
def test_a_host_is_still_a_host(fault: tuple[Entry, dict[str, Value]], age_us: int) -> None:
    entry, figures = fault
    if entry.name == "exchanged-cells" and figures.get("first", 1) == figures.get("second", 2):
        return
    changed = entry.make(figures).fold(HOST, age_us)
    check_host(changed.card)
    Host(HOST.settings, load_profile(HOST.settings.profile)).change(changed.settings)


def test_every_stage_is_searched() -> None:
    assert {e.stage for e in catalogue().values()} == {*OF_THE_SCALE, "node", "link", "host"}
