"""How long a host waits for an answer: SCP-0499 served live, beside a bare asyncio echo of the same octets.

Each server is a process of its own; this one asks `W`, reads 20 octets, and takes turns between them, so
that whatever else the machine does falls on both.  Prints p50 and p99 in microseconds and ratios of one
run; nothing is asserted.  Run: python tests/benchmarks/bench_outputs.py [requests]
"""

from __future__ import annotations

import asyncio
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

ASK, ANSWER = b"\nW\r", b"\nZ1G           0kg \r"
TURN = 250
Ask = Callable[[], bytes]


class Echo(asyncio.Protocol):
    """The least that answers: the same octets for whatever comes."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        self.transport.write(ANSWER)


class BufferedEcho(asyncio.BufferedProtocol):
    """The same without a new object for what comes: the leanest that asyncio has."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self.buffer = bytearray(4096)

    def get_buffer(self, sizehint: int) -> bytearray:
        return self.buffer

    def buffer_updated(self, nbytes: int) -> None:
        self.transport.write(ANSWER)


async def echo(ready: Path, protocol: type[asyncio.BaseProtocol]) -> None:
    """Serve the echo on TCP and on a pseudo-terminal until killed."""
    loop = asyncio.get_running_loop()
    server = await loop.create_server(protocol, "127.0.0.1", 0)
    ours, theirs = os.openpty()
    tty.setraw(theirs)

    def readable() -> None:
        os.read(ours, 4096)
        os.write(ours, ANSWER)

    loop.add_reader(ours, readable)
    port = server.sockets[0].getsockname()[1]
    beside = ready.with_suffix(".part")
    beside.write_text(json.dumps({"serial": [os.ttyname(theirs)], "tcp": [f"127.0.0.1:{port}"]}))
    beside.replace(ready)
    await asyncio.Event().wait()


def started(command: list[str], ready: Path) -> tuple[subprocess.Popen[bytes], str, str]:
    """A server process, its serial port and its TCP place."""
    process = subprocess.Popen([*command, "--ready-file", str(ready)], cwd=ROOT, stdout=subprocess.DEVNULL)
    while not ready.exists():
        assert process.poll() is None, "the server ended early"
        time.sleep(0.01)
    places = json.loads(ready.read_text())
    return process, places["serial"][0], places["tcp"][0]


def over_tcp(place: str) -> Ask:
    host, _, port = place.rpartition(":")
    sock = socket.create_connection((host, int(port)))
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def ask() -> bytes:
        sock.sendall(ASK)
        held = sock.recv(64)
        while len(held) < len(ANSWER):
            held += sock.recv(64)
        return held

    return ask


def over_serial(name: str) -> Ask:
    descriptor = os.open(name, os.O_RDWR | os.O_NOCTTY)

    def ask() -> bytes:
        os.write(descriptor, ASK)
        held = os.read(descriptor, 64)
        while len(held) < len(ANSWER):
            held += os.read(descriptor, 64)
        return held

    return ask


def in_turns(asks: dict[str, Ask], requests: int) -> dict[str, list[float]]:
    """Microseconds of each answer, by server, measured turn by turn."""
    times: dict[str, list[float]] = {name: [] for name in asks}
    clock = time.perf_counter
    for turn in range(requests // TURN + 1):
        for name, ask in asks.items():
            assert ask() == ANSWER, name
            for _ in range(TURN):
                before = clock()
                ask()
                if turn:  # the first turn warms up
                    times[name].append((clock() - before) * 1e6)
    return times


def table(kind: str, times: dict[str, list[float]]) -> None:
    bare = statistics.median(times["bare echo"])
    for name, taken in times.items():
        cuts = statistics.quantiles(taken, n=100)
        ratio = f"{cuts[49] / bare:5.2f} x echo"
        print(f"{kind:16} {name:34} p50 {cuts[49]:7.1f} us  p99 {cuts[98]:8.1f} us  {ratio}")


def main(requests: int) -> None:
    here = str(Path(__file__).resolve())
    deck = str(ROOT / "scenarios" / "sixteen-cells.yaml")
    both = ["--serial", "pty", "--tcp", "0"]
    commands = {
        "bare echo": [sys.executable, here, "--echo"],
        "bare echo, own buffer": [sys.executable, here, "--echo", "--buffered"],
        "SCP-0499, small bench": [sys.executable, "-m", "tests.real.small_server", *both],
        "SCP-0499, sixteen cells live": [sys.executable, "-m", "benchsim.cli.main", "serve", deck, *both],
    }
    with tempfile.TemporaryDirectory() as folder:
        servers = {n: started(c, Path(folder) / f"{i}.json") for i, (n, c) in enumerate(commands.items())}
        try:
            time.sleep(2)  # until the nodes of the live scale have paired
            print(f"{requests} requests each, in turns of {TURN}")
            table(
                "pseudo-terminal", in_turns({n: over_serial(s) for n, (_, s, _) in servers.items()}, requests)
            )
            table("TCP", in_turns({n: over_tcp(t) for n, (_, _, t) in servers.items()}, requests))
        finally:
            for process, _, _ in servers.values():
                process.terminate()
                process.wait()


if __name__ == "__main__":
    if "--echo" in sys.argv:
        asyncio.run(echo(Path(sys.argv[-1]), BufferedEcho if "--buffered" in sys.argv else Echo))
    else:
        main(int(next((a for a in sys.argv[1:] if a.isdigit()), 10_000)))
