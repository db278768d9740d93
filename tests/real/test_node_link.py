"""The node link between processes: nodes without a host and a host without nodes, on every medium."""

from __future__ import annotations

import asyncio
import hashlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchsim.ground.randomness import Streams
from benchsim.link.node import NodeEnd
from benchsim.link.parts import NodeCard
from benchsim.serve.carrier import Side
from tests.real.carried import End
from tests.real.served import PATIENCE_S, Served, TcpClient, run_to_end, started, wait_for

pytestmark = pytest.mark.real

FILE = Path(__file__).with_name("two-ends.yaml")
KEY = hashlib.sha256(b"words that nobody else has").hexdigest()[:32]  # as the README has it
NODES = [
    {"address": 1, "serial": "00000000000003E9", "network": 21, "cells": 4, "channels": 4, "rate_hz": 80},
    {"address": 2, "serial": "00000000000003EA", "network": 21, "cells": 2, "channels": 4, "rate_hz": 80},
]


def serve(*options: str) -> list[str]:
    return [sys.executable, "-m", "benchsim.cli.main", "serve", str(FILE), *options]


def host_at(*places: str) -> list[str]:
    at = [word for place in places for word in ("--nodes-at", place)]
    return serve("--tcp", "0", "--commands", "-", *at)


@pytest.fixture(scope="module")
def nodes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Nodes on one medium of each kind."""
    media = ("--tcp", "0", "--udp", "0", "--serial", "pty", "--mqtt", "listen-mqtt:0/deck")
    with started(serve("--nodes-only", "--commands", "-", *media), tmp_path_factory.mktemp("nodes")) as one:
        yield one


def place_of(nodes: Served, medium: str) -> str:
    return f"{medium}:{nodes.ready[medium][0]}"


def shows(host: Served, weight: bytes) -> None:
    """Wait until the host shows a stable weight, and see that it stays."""
    with TcpClient(host.tcp[0]) as client:
        wait_for(
            lambda: (a := client.ask(b"\nW\r"))[1:2] != b"E" and a[4:5] == b" " and weight in a, repr(weight)
        )
        client.socket.sendall(b"\nR\r")
        answers = [client.answer() for _ in range(4)]
        assert all(weight in answer and answer[1:2] != b"E" for answer in answers), answers


@pytest.mark.parametrize(("medium", "truth_kg"), [("tcp", 18_400), ("serial", 31_080), ("mqtt", 240)])
def test_a_host_elsewhere_shows_what_stands_on_the_scale(
    nodes: Served, tmp_path: Path, medium: str, truth_kg: int
) -> None:
    nodes.type(f"place {medium} {truth_kg}kg over cell 3")
    try:
        nodes.says(f"load: place {medium}: {truth_kg} kg")
        with started(host_at(place_of(nodes, medium)), tmp_path) as host:
            shows(host, b"%10dkg" % truth_kg)
            host.says("node 1: flow (serial 00000000000003E9)")
            host.says("node 2: flow (serial 00000000000003EA)")
            nodes.says("node 1: flow (serial 00000000000003E9, bound to host 0000000000000001)")
    finally:
        nodes.type(f"remove {medium}")


def test_what_is_typed_at_either_end_is_told_at_both_and_the_weight_follows(
    nodes: Served, tmp_path: Path
) -> None:
    with started(host_at(place_of(nodes, "udp")), tmp_path) as host:
        nodes.type("place udp 3620kg over cell 3")
        shows(host, b"      3620kg")
        nodes.type("remove udp")
        host.type("release 2")
        host.says("node 2: released")
        nodes.says("node 2: released (serial 00000000000003EA)")
        host.type("pair 2")
        wait_for(lambda: host.said().count("node 2: flow") == 2, "node 2 flows again")
        nodes.type("fault power-loss on 1")
        host.says("node 1: lost: silent for")
        with TcpClient(host.tcp[0]) as client:
            wait_for(lambda: client.ask(b"\nW\r")[1:2] == b"E", "no weight")
        nodes.says("node 1: idle: without power")
        nodes.type("end power-loss")
        wait_for(lambda: host.said().count("node 1: flow") == 2, "node 1 flows again")
        shows(host, b"         0kg")
        host.type("place box 100kg")
        host.says("load refused: place box: 100 kg")
        host.says("the nodes are somebody else's here")


def test_nodes_that_are_served_keep_to_the_specification_as_the_probe_reads_it(nodes: Served) -> None:
    command = [sys.executable, "-m", "benchsim.cli.main", "probe", "node", "--at", place_of(nodes, "tcp")]
    device = ["--key", KEY, "--network", "21", "--address", "1", "--patience", "200"]
    nodes.type("recommission 1")  # it may be bound to the host of another test
    try:
        nodes.says("recommission the node at address 1")
        done = run_to_end([*command, *device, "--case", "node-right-proof-is-accepted"])
        assert done.returncode == 0, done.stdout + done.stderr
        nodes.says("node 1: flow (serial 00000000000003E9, bound to host 00000000B0B")
    finally:
        nodes.type("recommission 1")


def test_what_needs_a_host_is_refused_where_there_is_none(nodes: Served) -> None:
    for command, kind in (("zero", "command"), ("tare", "command"), ("pair 1", "link")):
        nodes.type(command)
        told = {"pair 1": "pair address 1"}.get(command, command)
        nodes.says(f"{kind} refused: {told}: the host is somebody else's here: ask that one")


def test_a_foreign_host_is_told_all_it_needs_but_no_secret_unasked(nodes: Served, tmp_path: Path) -> None:
    assert nodes.ready["nodes"] == NODES
    assert nodes.ready["simulated"] is True
    assert "network: 21" in nodes.said()
    assert "node at address 2: serial 00000000000003EA, 4 channels, 80 Hz" in nodes.said()
    assert KEY not in nodes.said() + str(nodes.ready)
    with started(serve("--nodes-only", "--tell-key"), tmp_path) as telling:
        assert [set(telling.ready), [len(telling.ready[m]) for m in ("tcp", "udp", "serial", "mqtt")]] == [
            {"tcp", "udp", "serial", "mqtt", "nodes", "simulated"}, [1, 1, 1, 0],
        ]  # fmt: skip
        assert telling.ready["nodes"] == [node | {"pairing_key": KEY} for node in NODES]
        telling.says(f"pairing key: {KEY}")


class Firmware:
    """A node as its maker would try it: the node's end of the link on a carrier, with silent cells."""

    def __init__(self, end: End) -> None:
        self._end = end
        self._loop = asyncio.get_running_loop()
        card = NodeCard(0xF1, 1, 21, bytes.fromhex(KEY))
        self.node = NodeEnd(card, Streams("firmware").dice("node"), lambda t_us: t_us)

    async def run_until(self, step: str) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while self.node.step != step:
                now_us = round(self._loop.time() * 1e6)
                for frame in self._end.heard:
                    self.node.receive(frame, now_us)
                self._end.heard.clear()
                self._end.send(*self.node.due(now_us)[0])
                await asyncio.sleep(0.005)


def test_a_node_that_comes_late_to_a_host_that_listens_is_sought_when_it_comes(tmp_path: Path) -> None:
    async def come(place: str) -> None:
        async with End(place, Side.NODES) as end:
            await Firmware(end).run_until("flow")

    with started(host_at("listen-tcp:0"), tmp_path) as host:
        (place,) = host.ready["node_link"]
        host.says("node 1: failed: nobody there")
        asyncio.run(come(place))
        host.says("node 1: flow (serial 00000000000000F1)")
        assert re.search(r"tcp 127\.0\.0\.1:\d+: came", host.said())


def test_nodes_that_are_not_where_they_should_be_are_told_with_exit_code_2() -> None:
    done = run_to_end(serve("--nodes-at", "tcp:1", "--tcp", "0"))  # nobody listens on port 1 here
    assert done.returncode == 2
    assert "nobody listens on TCP at 127.0.0.1:1" in done.stderr
    assert "start the other end first" in done.stderr
