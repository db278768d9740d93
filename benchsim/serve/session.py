"""One live session from options to its orderly end: which rims, what a person is told, who ends it."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from benchsim.ground.errors import BadInput
from benchsim.ground.readings import InstrumentCard
from benchsim.ground.units import TIME, parse
from benchsim.serve.live import (
    Connection,
    Live,
    LiveBench,
    Rim,
    forget_ready_file,
    serve,
    stopped_by_signals,
    write_ready_file,
)
from benchsim.serve.serial_port import DEFAULT_BAUD, PSEUDO, PseudoTerminal, RealPort
from benchsim.serve.sockets import Limits, TcpRim

MAX_SPEED = 1000.0


@dataclass(frozen=True, slots=True)
class Options:
    """Where to serve, how fast, how long.

    serial: "pty" or a port's name each.  tcp: "[host:]port" each.  duration: wall time as written, None
    until a signal.  speed: bench time over wall time.  limits: what a TCP listener puts up with.
    """

    serial: tuple[str, ...] = ()
    tcp: tuple[str, ...] = ()
    baud: int = DEFAULT_BAUD
    ready_file: Path | None = None
    duration: str | None = None
    speed: float = 1.0
    limits: Limits = field(default_factory=Limits)


def duration_s(text: str | None) -> float | None:
    """ "30" (seconds), "30 s", "5 min" to seconds of wall time.  Raises BadInput."""
    if text is None:
        return None
    has_unit = any(c.isalpha() for c in text.lower().replace("e", ""))
    seconds = float(parse(text if has_unit else f"{text} s", TIME) / 1_000_000)
    if seconds <= 0:
        raise BadInput(f"a duration of {text!r} is over before it begins", "name a time above 0")
    return seconds


def checked_speed(speed: float) -> float:
    """The speed, if the bench can be walked at it."""
    if not math.isfinite(speed) or not 0 < speed <= MAX_SPEED:
        raise BadInput(f"a speed of {speed:g}", f"name a factor above 0 and up to {MAX_SPEED:g}")
    return speed


def make_rims(live: Live, options: Options) -> list[Rim]:
    """The rims that the options name, none open yet."""
    rims: list[Rim] = [
        PseudoTerminal(live) if name == PSEUDO else RealPort(live, name, options.baud)
        for name in options.serial
    ]
    rims.extend(TcpRim(live, address, options.limits) for address in options.tcp)
    return rims


def run_session(
    bench: LiveBench, card: InstrumentCard, protocol: str, options: Options, tell: Callable[[str], None]
) -> None:
    """Serve until SIGINT, SIGTERM or the end of the duration.

    Raises BadInput for options that cannot be, before anything else is done.
    """
    speed, lasts_s = checked_speed(options.speed), duration_s(options.duration)
    if options.ready_file is not None:
        forget_ready_file(options.ready_file)

    def ready(connections: tuple[Connection, ...]) -> None:
        for line in announcement(connections):
            tell(line)
        if options.ready_file is not None:
            write_ready_file(options.ready_file, connections)

    async def session() -> None:
        stop = asyncio.Event()
        live = Live(bench, card, protocol, tell)
        with stopped_by_signals(stop):
            await serve(live, make_rims(live, options), stop, speed, lasts_s, ready)

    asyncio.run(session())
    tell("ended in good order; all weights were SIMULATED")


def announcement(connections: tuple[Connection, ...]) -> list[str]:
    """What a person has to know to connect."""
    lines = ["SIMULATED scale: it proves software, never an instrument."]
    for connection in connections:
        lines.append(f"{connection.kind}: {connection.address}")
        lines.extend(f"  {what:<9} {line}" for what, line in connection.paste)
    return lines
