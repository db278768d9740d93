"""A host read over a host protocol, SCP-0499: its figures and flags come as bytes, and so go the commands.

Nothing but octets passes, so what is verified this way may be any host that speaks the standard; here they
are the bench's own, from a virtual client.  Source of the line: protocols/scp0499.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from benchsim.bench.bench import Bench
from benchsim.ground.commands import Ask, ClearTare, InstrumentCommand, Record, Tare, Zero
from benchsim.ground.errors import BadInput
from benchsim.verify.on_bench import Site
from benchsim.verify.reader import Answer, Reading

WEIGHT, ABORT = b"\nW\r", b"\x1b"
KEYS: dict[type, bytes] = {Zero: b"\nZ\r", Tare: b"\nT\r", ClearTare: b"\nC\r", Record: b"\nP\r"}
"""P answers once the weight is stable; an answer that does not come at once is called off."""

_LINE = re.compile(rb"\n(?P<status>.)(?P<range>.)(?P<kind>.)(?P<motion>.).(?P<weight>.{10})(?P<unit>.{3})\r")


@dataclass(frozen=True, slots=True)
class Line:
    """One answer that holds a weight.  figure_kg: None where dashes stand."""

    status: str
    net: bool
    motion: bool
    figure_kg: Decimal | None


def read_line(octets: bytes) -> Line:
    """The last weight of some octets.  Raises BadInput where there is none."""
    matches = list(_LINE.finditer(octets))
    if not matches:
        raise BadInput(f"{octets!r} holds no weight", "LF, four characters, a space, weight, unit, CR")
    last = matches[-1]
    figure = last["weight"].decode("latin-1").strip()
    return Line(
        status=last["status"].decode("latin-1"),
        net=last["kind"] in b"Nn",
        motion=last["motion"] == b"M",
        figure_kg=Decimal(figure) if re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", figure) else None,
    )


class ByLines(Site):
    """One client of the bench's SCP-0499 output."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._heard = b""

    def read(self) -> Reading:
        line = read_line(self._send(WEIGHT))
        return Reading(line.figure_kg, line.motion, line.net)

    def command(self, command: InstrumentCommand) -> Answer:
        if type(command) not in KEYS:
            raise BadInput(f"{command} cannot be asked for in SCP-0499", "zero, tare, clear tare or record")
        heard = self._send(KEYS[type(command)])
        if isinstance(command, Record):
            self._send(ABORT)
            line = read_line(heard) if heard else None
            return Answer(line is not None, line.figure_kg if line else None)
        return Answer(read_line(heard).status not in "EIT")

    def _send(self, octets: bytes) -> bytes:
        """What the host answers at once."""
        events = self._bench.trace.events
        before = len(events)
        self._bench.do(Ask("scp0499", octets))
        return b"".join(e.octets for e in events[before:] if e.kind == "answer")
