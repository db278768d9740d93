"""A served bench in a process of its own, and clients of it, with bounded waits everywhere."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
PATIENCE_S = 20.0
DECK = Path(__file__).with_name("empty-deck.yaml")
EMPTY = b"\nZ1G           0kg \r"  # what every scale that is served here answers to W


def wait_for(true: Callable[[], bool], what: str) -> None:
    """Look until it is true.  Fails, naming what, after PATIENCE_S."""
    until = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < until, f"{what}: not within {PATIENCE_S} s"
        time.sleep(0.01)


@dataclass
class Served:
    """A running process and where it listens."""

    process: subprocess.Popen[str]
    serial: list[str]
    tcp: list[tuple[str, int]]
    output: Path
    ready: dict[str, Any] = field(default_factory=dict)

    def type(self, line: str) -> None:
        """Type a line at it (--commands -)."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def said(self) -> str:
        """All that it has printed so far."""
        return self.output.read_text("utf-8")

    def says(self, text: str) -> None:
        """Wait until it has printed this."""
        wait_for(lambda: text in self.said(), f"{text!r} in {self.said()!r}")

    def ended(self, number: int = signal.SIGINT) -> int:
        """Ask it to end by a signal; the exit code."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def resident_mb(self) -> float:
        """Its memory."""
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def small_server(*options: str) -> list[str]:
    """The command that serves the small bench."""
    return [sys.executable, "-m", "tests.real.small_server", *options]


def empty_deck(*options: str) -> list[str]:
    """The command that serves a whole scale with nothing on it."""
    return [sys.executable, "-m", "benchsim.cli.main", "serve", str(DECK), *options]


def shows_empty(place: tuple[str, int]) -> None:
    """Wait until a TCP place answers with the weight of an empty scale: its nodes have paired."""
    with TcpClient(place) as client:
        wait_for(lambda: client.ask(b"\nW\r") == EMPTY, "a weight")


@contextlib.contextmanager
def started(command: list[str], folder: Path) -> Iterator[Served]:
    """Start a command that serves and wait for its ready file.  Ends it afterwards, however the test went."""
    ready, output = folder / "ready.json", folder / "output.txt"
    ready.unlink(missing_ok=True)
    with output.open("w") as sink:
        process = subprocess.Popen(
            [*command, "--ready-file", str(ready)], cwd=ROOT, stdin=subprocess.PIPE, stdout=sink,
            stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
    try:
        wait_for(lambda: ready.exists() or process.poll() is not None, "ready file")
        assert process.poll() is None, output.read_text()
        places = json.loads(ready.read_text())
        tcp = [(h, int(p)) for h, _, p in (place.rpartition(":") for place in places["tcp"])]
        yield Served(process, places["serial"], tcp, output, places)
    finally:
        if process.poll() is None:
            process.terminate()
            process.wait(PATIENCE_S)
        assert process.stdin is not None
        with contextlib.suppress(OSError):
            process.stdin.close()


@contextlib.contextmanager
def served(command: list[str], folder: Path) -> Iterator[Served]:
    """Start a command that serves a whole scale, and wait, by way of TCP, for a weight."""
    with started(command, folder) as running:
        if running.tcp:
            shows_empty(running.tcp[0])
        yield running


def run_to_end(command: list[str]) -> subprocess.CompletedProcess[str]:
    """A command that is expected to end by itself."""
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=PATIENCE_S, check=False)


class TcpClient:
    """A plain socket that reads whole answers."""

    def __init__(self, place: tuple[str, int]) -> None:
        self.socket = socket.create_connection(place, timeout=PATIENCE_S)
        self._held = b""

    def __enter__(self) -> TcpClient:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def answer(self) -> bytes:
        """The next answer, LF to CR.  Raises ConnectionError at the end."""
        while b"\r" not in self._held:
            data = self.socket.recv(4096)
            if not data:
                raise ConnectionError("the other side has closed")
            self._held += data
        line, _, self._held = self._held.partition(b"\r")
        return line + b"\r"

    def rest(self) -> bytes:
        """All that still comes, up to the orderly end."""
        while data := self.socket.recv(4096):
            self._held += data
        return self._held

    def ask(self, data: bytes) -> bytes:
        """Send, and read one answer."""
        self.socket.sendall(data)
        return self.answer()
