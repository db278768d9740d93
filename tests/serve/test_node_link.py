"""The node link of a live bench: where its frames go, whom a host seeks again, what the other end is told."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from typing import Any

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Foreign, NodePlan, Plan, Scheduled
from benchsim.ground.commands import Pair, Place, Record
from benchsim.link.frames import Kind
from benchsim.rules.profile import load_profile
from benchsim.serve.carrier import Connection, Side
from benchsim.serve.node_link import KEY_UNTOLD, SIDES, Facts, NodeLink, ours
from benchsim.serve.opened import Opened
from benchsim.serve.pacing import Pacer
from tests.bench.plans import KEY, plan

S = 1_000_000


class Kept:
    """A medium that keeps what is sent on it and lets the test speak and tell."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []
        self.open_now = False

    async def open(self, heard: Callable[[bytes], None], tell: Callable[[str], None]) -> Connection:
        self.heard, self.tell, self.open_now = heard, tell, True
        return Connection("kept", "here", ())

    def send(self, frame: bytes) -> None:
        self.sent.append(frame)

    def close(self) -> None:
        self.open_now = False


class Table:
    """One end of a link on kept media, walked by hand."""

    def __init__(self, made: Plan, side: Side, media: int) -> None:
        foreign = replace(made, foreign=SIDES[side])
        self.bench = Bench(foreign, load_profile(made.host.profile), 1)
        self.media = [Kept() for _ in range(media)]
        self.link = NodeLink(self.bench, Facts.of(foreign, side, False), self.media)
        self.noted: list[tuple[str, str]] = []

    async def open(self) -> None:
        for rim in self.link.rims(lambda who, what: self.noted.append((who, what))):
            await rim.open()
        self.link.paced(Pacer(self.bench.run, 0))  # never started: the test walks the bench itself


def played(story: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(asyncio.wait_for(story(), 20))


def test_nodes_answer_where_somebody_has_spoken_and_a_host_speaks_everywhere() -> None:
    async def story() -> None:
        made = plan(cells=4)
        host, nodes = Table(made, Side.HOST, 2), Table(made, Side.NODES, 3)
        await host.open()
        await nodes.open()
        host.bench.run(1000)
        seek = host.media[0].sent[0]
        assert seek[1] == Kind.SEEK
        assert host.media[0].sent == host.media[1].sent
        nodes.bench.run(1000)
        nodes.media[1].heard(seek)
        nodes.bench.run(S)
        assert [len(medium.sent) for medium in nodes.media] == [0, 1, 0]
        nodes.media[2].heard(seek)
        nodes.bench.run(2 * S)
        assert [len(medium.sent) for medium in nodes.media] == [0, 2, 1]

    played(story)


def test_a_change_on_a_medium_has_those_sought_again_at_whose_address_nobody_was() -> None:
    async def story() -> None:
        host = Table(plan(cells=4), Side.HOST, 1)
        await host.open()
        host.bench.run(S // 2)
        host.media[0].tell("tcp 127.0.0.1:1: came")  # while it seeks: nothing new
        host.bench.run(3 * S)
        assert host.bench.link_states[0].step == "failed"
        asked = [event.text for event in host.bench.trace.events if event.kind == "link"]
        assert asked == [str(Pair())]
        host.media[0].tell("tcp 127.0.0.1:2: came")
        assert host.bench.link_states[0].step == "seek"
        assert host.noted[-1] == ("tcp 127.0.0.1:2", "came")

    played(story)


def test_who_failed_for_another_reason_is_not_sought_again_by_itself() -> None:
    async def story() -> None:
        host = Table(plan(cells=4, host_key=bytes(16)), Side.HOST, 1)
        nodes = Table(plan(cells=4), Side.NODES, 1)
        await host.open()
        await nodes.open()
        for t_us in range(0, 8 * S, 10_000):
            for one, other in ((host, nodes), (nodes, host)):
                one.bench.run(t_us)
                for frame in one.media[0].sent:
                    other.media[0].heard(frame)
                one.media[0].sent.clear()
        failed = host.bench.link_states[0]
        assert (failed.step, failed.reason) == ("failed", "wrong key")
        host.media[0].tell("tcp 127.0.0.1:2: came")
        assert host.bench.link_states[0] == failed

    played(story)


def test_rims_close_their_media() -> None:
    async def story() -> None:
        nodes = Table(plan(cells=4), Side.NODES, 1)
        (rim,) = nodes.link.rims(lambda _who, _what: None)
        await rim.open()
        assert nodes.media[0].open_now
        rim.close()
        assert not nodes.media[0].open_now

    played(story)


@pytest.fixture
def mixed() -> Plan:
    """Two nodes, the second with a network and a key of its own."""
    made = plan(cells=6)
    other = replace(made.nodes[1].card, network=9, key=bytes(16))
    return replace(made, nodes=(made.nodes[0], NodePlan(other)), foreign=Foreign.HOST)


def test_a_person_is_told_the_nodes_and_no_key_unasked(mixed: Plan) -> None:
    untold, told = (Facts.of(mixed, Side.NODES, tells).lines() for tells in (False, True))
    assert untold == [
        "network: 7",
        f"pairing key: {KEY_UNTOLD}",
        "node at address 1: serial 0000000000005101, 4 channels, 80 Hz",
        "node at address 2: serial 0000000000005102, 4 channels, 80 Hz, network 9, a pairing key of its own",
    ]
    assert told[1] == f"pairing key: {KEY.hex()}"
    assert told[3].endswith(f"network 9, pairing key {bytes(16).hex()}")


@pytest.mark.parametrize(("side", "kept"), [(Side.NODES, [Place]), (Side.HOST, [Record])])
def test_what_only_the_other_end_can_do_is_left_out_of_the_timeline_and_told_once(
    mixed: Plan, side: Side, kept: list[type]
) -> None:
    story = tuple(Scheduled(S, command) for command in (Place("block", 100.0, 0.5, 0.5), Record()))
    told = replace(mixed, timeline=story)
    assert [type(scheduled.command) for scheduled in ours(told, side).timeline] == kept
    about = [line for line in Facts.of(told, side, False).lines() if "left out" in line]
    assert len(about) == 1
    assert "1 of them" in about[0]


def test_a_program_is_told_the_same(mixed: Plan) -> None:
    untold, told = (Facts.of(mixed, Side.NODES, tells).document() for tells in (False, True))
    assert untold == {
        "nodes": [
            {
                "address": 1,
                "serial": "0000000000005101",
                "network": 7,
                "cells": 4,
                "channels": 4,
                "rate_hz": 80,
            },
            {
                "address": 2,
                "serial": "0000000000005102",
                "network": 9,
                "cells": 2,
                "channels": 4,
                "rate_hz": 80,
            },
        ]
    }
    assert KEY.hex() not in str(untold)
    assert KEY.hex() in str(told)
    host = Facts.of(mixed, Side.HOST, True).document()
    assert host["expects"] == [{"address": 1, "cells": 4}, {"address": 2, "cells": 2}]
    assert host["pairing_key"] == KEY.hex()
    assert Facts.of(mixed, Side.HOST, False).lines()[-1] == (
        "host 0000000000000B0B expects 4 cells at address 1, 2 cells at address 2"
    )


def test_the_ready_file_has_the_media_of_the_nodes_or_of_the_host_s_clients(mixed: Plan) -> None:
    link = (
        Connection("udp", "127.0.0.1:9", (("other end", "udp:127.0.0.1:9"),)),
        Connection("mqtt", "a:1/x", ()),
    )
    nodes = Opened((), link, Facts.of(mixed, Side.NODES, False)).places()
    assert {kind: nodes[kind] for kind in ("tcp", "udp", "serial", "mqtt")} == {
        "tcp": [], "udp": ["127.0.0.1:9"], "serial": [], "mqtt": ["a:1/x"],
    }  # fmt: skip
    assert len(nodes["nodes"]) == 2
    clients = (Connection("tcp", "127.0.0.1:5", ()),)
    host = Opened(clients, link, Facts.of(mixed, Side.HOST, False)).places()
    assert host == {"serial": [], "tcp": ["127.0.0.1:5"], "node_link": ["udp:127.0.0.1:9", "mqtt:a:1/x"]}
