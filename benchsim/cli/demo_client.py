"""Host software as an integrator writes it: plain pyserial, one command at a time, JSON lines on stdout.

Run as `python demo_client.py PORT [SECONDS]`.  It knows the open serial protocol and the name of a port, and
nothing of who is at the other end.  SECONDS: how long a weight has to stay the same to be believed.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from decimal import Decimal

import serial

WAIT_S = 40.0
POLL_S = 0.02
NO_FIGURE = "EITOU"


@dataclass(frozen=True)
class Reading:
    """One 20-octet answer: LF, status, range, kind, motion, reserved, weight, unit, CR."""

    command: str
    octets: bytes
    number: int

    @property
    def text(self) -> str:
        return self.octets.decode("ascii")

    @property
    def moving(self) -> bool:
        return self.text[4] == "M"

    @property
    def weight(self) -> Decimal | None:
        """None where the scale gives no figure."""
        if self.text[1] in NO_FIGURE:
            return None
        return Decimal(self.text[6:16].strip())


class Scale:
    """The scale at the other end of a port."""

    def __init__(self, port: str) -> None:
        self._port = serial.Serial(port, 9600, timeout=WAIT_S)
        self._count = 0

    def ask(self, command: str) -> Reading:
        """Send one command and wait for its answer."""
        self.send(f"\n{command}\r")
        return self.next(command)

    def next(self, command: str) -> Reading:
        """The next answer that comes."""
        octets: bytes = self._port.read_until(b"\r")
        if not octets.endswith(b"\r"):
            raise TimeoutError(f"no answer to {command} within {WAIT_S:g} s: {octets!r}")
        self._count += 1
        return Reading(command, octets, self._count)

    def send(self, text: str) -> None:
        """Send characters as they are."""
        self._port.write(text.encode("ascii"))


def tell(step: str, reading: Reading) -> None:
    """One line for whoever started us."""
    document = {"step": step, "command": reading.command, "number": reading.number, "answer": reading.text}
    sys.stdout.write(json.dumps(document) + "\n")
    sys.stdout.flush()


def who_is_there(scale: Scale) -> None:
    """Ask for the about lines and tell the second, which names the maker."""
    scale.ask("A")
    tell("who is there", scale.ask("B"))


def weight_within(scale: Scale, low: int, high: int, moving: bool | None = None) -> Reading:
    """Poll the displayed weight until it lies between two limits and moves, or not, as wanted."""
    until = time.monotonic() + WAIT_S
    while True:
        reading = scale.ask("W")
        weight = reading.weight
        if weight is not None and low <= weight <= high and moving in (None, reading.moving):
            return reading
        if time.monotonic() > until:
            raise TimeoutError(f"no weight from {low} to {high} within {WAIT_S:g} s: {reading.octets!r}")
        time.sleep(POLL_S)


def settled(scale: Scale, seconds: float) -> Reading:
    """A stable weight that is still the same some time later: not a vehicle that is half on the deck."""
    before = scale.ask("P")
    while True:
        time.sleep(seconds)
        now = scale.ask("P")
        if now.weight == before.weight:
            return now
        before = now


def weigh(scale: Scale, seconds: float) -> None:
    """One vehicle, from an empty deck to an empty deck."""
    who_is_there(scale)
    weight_within(scale, -1000, 1000)
    tell("deck empty, wait for stable", scale.ask("P"))
    tell("set zero", scale.ask("Z"))
    tell("a vehicle drives on", weight_within(scale, 1000, 10**9, moving=True))
    tell("zero in vain, it moves", scale.ask("Z"))
    tell("it stands, wait for stable", settled(scale, seconds))
    tell("high resolution", scale.ask("H"))
    tell("take it as tare", scale.ask("T"))
    tell("net", scale.ask("W"))
    tell("read the tare back", scale.ask("M"))
    tell("clear the tare", scale.ask("C"))
    tell("set a known tare", scale.ask(f"T{12000:>10}"))
    tell("net", scale.ask("W"))
    tell("clear the tare", scale.ask("C"))
    scale.send("\nR\r")
    repeated = [scale.next("R") for _ in range(5)]
    scale.send("\x1b")
    tell(f"{len(repeated)} answers came, the last:", repeated[-1])
    tell("it drives off", weight_within(scale, 1000, 10**9, moving=True))
    weight_within(scale, -1000, 500)
    tell("deck empty, wait for stable", settled(scale, seconds))


def main(arguments: list[str]) -> None:
    """Weigh one vehicle at the port that is named."""
    weigh(Scale(arguments[0]), float(arguments[1]) if len(arguments) > 1 else 2.0)


if __name__ == "__main__":
    main(sys.argv[1:])
