"""However often the host is asked, however early it is told: the same indications, bit for bit."""

from __future__ import annotations

import dataclasses
import itertools
import random
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from benchsim.ground.commands import ClearTare, InstrumentCommand, Record, Tare, Zero
from benchsim.ground.readings import ClockReading, LinkState, Outcome, Samples
from benchsim.host.host import Host, Tick
from benchsim.rules.profile import load_profile
from tests.host.feed import Node, parts

LASTS_US = 6_000_000
Told = Samples | ClockReading | LinkState


@dataclass(frozen=True)
class Story:
    """What a host of two nodes hears, by time, and what it is asked."""

    told: list[tuple[int, Told]]
    commands: list[tuple[int, InstrumentCommand]]
    profile: str


def story_of(chance: random.Random) -> Story:
    """One of endlessly many stories: loads, drifting clocks, lost, late, doubled and bad frames, commands."""
    loads = [chance.randint(-100, 70_000) for _ in range(3)]

    def weight(t_us: int) -> float:
        return float(loads[min(t_us // 2_500_000, 2)] if t_us > 1_000_000 else 40.0)

    told: list[tuple[int, Told]] = []
    for address in (1, 2):
        node = Node(address, weight, share=0.5, ppm=chance.choice([0.0, 100.0, -100.0]))
        node.creep_ppm = chance.choice([0.0, 0.0, 80.0])
        node.rows, node.offset_us = chance.choice([1, 8, 20]), chance.randint(0, 10**9)
        told.append((0, LinkState(address, "flow")))
        told += [(f.arrived_us, f) for f in frames_of(node, chance)]
        for t_us in range(1_000, LASTS_US, 700_000):
            reading = node.clock(t_us, chance.randint(2, 40_000))
            told.append((reading.host_t_us + (reading.round_trip_us + 1) // 2, reading))
        if chance.random() < 0.5:
            away_us = chance.randint(2_000_000, 4_000_000)
            told.append((away_us, LinkState(address, "lost", "lost: silent for 1 s", since_us=away_us)))
            told.append((away_us + 700_001, LinkState(address, "flow", since_us=away_us + 700_001)))
    told.sort(key=lambda item: item[0])
    may_be: list[InstrumentCommand] = [Zero(), Tare(), ClearTare(), Record()]
    times_us = sorted(chance.randint(100_000, LASTS_US) for _ in range(chance.randint(0, 6)))
    commands = [(t_us, chance.choice(may_be)) for t_us in times_us]
    return Story(told, commands, chance.choice(["hb44-iiil-vehicle", "r76-iii"]))


def frames_of(node: Node, chance: random.Random) -> list[Samples]:
    """A node's frames with some lost, sent again, doubled, late or not good; in half of the stories few."""
    frames = []
    rough = chance.choice([0.02, 0.3])
    for frame in node.until(LASTS_US):
        fate = (
            chance.choice(["lost", "again", "twice", "echo", "late", "bad"])
            if chance.random() < rough
            else "good"
        )
        if fate in ("good", "twice", "echo"):
            frames.append(frame)
        if fate == "twice":
            frames.append(dataclasses.replace(frame, octets=bytes([frame.octets[0] ^ 1]) + frame.octets[1:]))
        if fate in ("again", "late"):
            by_us = chance.randint(50_000, 1_500_000) if fate == "again" else 130_000
            frames.append(
                dataclasses.replace(frame, arrived_us=frame.arrived_us + by_us, resent=fate == "again")
            )
        if fate == "echo":
            other, late_us = bytes(len(frame.octets)), frame.arrived_us + chance.randint(1, 900_000)
            frames.append(dataclasses.replace(frame, octets=other, arrived_us=late_us, resent=True))
        if fate == "bad":
            frames.append(dataclasses.replace(frame, status=bytes([0, 4, 0, 0])))
    return sorted(frames, key=lambda f: f.arrived_us)


seeds = st.integers(0, 2**32)
# A story made smaller is another story: nothing is gained by shrinking its seed.
looking = settings(max_examples=30, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))


def play(story: Story, pace_us: Callable[[int], int], ahead: bool) -> tuple[str, list[Outcome]]:
    """All ticks and outcomes; the next look is at pace_us(now).  ahead: everything is told at the start."""
    host = Host(
        parts(cells=8, profile=story.profile, zero_tracking=True, initial_zero=True),
        load_profile(story.profile),
    )
    ticks: list[Tick] = []
    outcomes: list[Outcome] = []
    told, commands = list(story.told), list(story.commands)
    now_us = 0
    while now_us < LASTS_US:
        now_us = min(LASTS_US, pace_us(now_us), commands[0][0] if commands else LASTS_US)
        while told and (ahead or told[0][0] <= now_us):
            hand_on(host, told.pop(0)[1])
        ticks += host.advance(now_us)
        while commands and commands[0][0] == now_us:
            outcomes.append(host.command(commands.pop(0)[1], now_us))
    return repr(ticks), outcomes


def hand_on(host: Host, told: Told) -> None:
    if isinstance(told, Samples):
        host.take(told)
    elif isinstance(told, ClockReading):
        host.clock(told)
    else:
        host.link(told)


@looking
@given(seeds, st.lists(st.integers(7_001, 2_500_000), min_size=1, max_size=8))
def test_the_pace_of_asking_never_shows(seed: int, paces: list[int]) -> None:
    story = story_of(random.Random(seed))
    whole = play(story, lambda _now: LASTS_US, ahead=False)
    turn = itertools.cycle(paces)
    assert play(story, lambda now: now + next(turn), ahead=False) == whole
    assert play(story, lambda now: now + 100_000, ahead=False) == whole
    assert play(story, lambda _now: LASTS_US, ahead=True) == whole


@pytest.mark.parametrize("seed", range(8))
def test_asking_every_millisecond_changes_nothing(seed: int) -> None:
    story = story_of(random.Random(seed))
    whole = play(story, lambda _now: LASTS_US, ahead=False)
    assert play(story, lambda now: now + 1_000, ahead=False) == whole


def test_the_stories_have_weights_gaps_and_records_in_them() -> None:
    """Else the tests above would compare nothing with nothing."""
    told, outcomes = zip(
        *(play(story_of(random.Random(s)), lambda _n: LASTS_US, False) for s in range(40)), strict=True
    )
    everything = "".join(told)
    for word in (
        "valid=True",
        "samples missing",
        "no bridge",
        "lost: silent",
        "shows_net=True",
        "motion=False",
    ):
        assert word in everything, word
    assert any(o.recorded for each in outcomes for o in each)
    assert any(not o.done for each in outcomes for o in each)
