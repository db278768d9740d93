"""The demo's run: a live bench, a client process, and its readings set beside the truth."""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchsim.bench.bench import Bench
from benchsim.ground.clock import seconds
from benchsim.ground.library import shipped
from benchsim.rules.profile import Profile
from benchsim.rules.tables import tolerance_d
from benchsim.scenario.build import build
from benchsim.scenario.loader import load
from benchsim.serve.live import Connection, Exchange, Live, serve
from benchsim.serve.opened import Opened
from benchsim.serve.serial_port import PseudoTerminal
from benchsim.serve.session import checked_speed

CLIENT = Path(__file__).with_name("demo_client.py")
BELIEVED_US = 2_000_000  # of bench time: how long the client wants a weight to stay
LONGEST_US = 120_000_000  # of bench time
GRACE_S = 20.0  # of wall time, on top
WEIGHT_OCTETS = 20
KINDS = {"G": "gross", "N": "net", "T": "tare"}


@dataclass(frozen=True, slots=True)
class Said:
    """What the client told of one answer: what it was doing, what it had sent, which answer it was."""

    step: str
    command: str
    number: int
    answer: bytes


@dataclass(frozen=True, slots=True)
class Row:
    """One answer beside the truth.  reading: None where the answer has no figure.

    true: mass on the deck less what was tared, in the unit shown.  off_d, allowed_d: in units of d.
    passed: None for a weight in motion and for what is no weight.
    """

    t_us: int
    step: str
    command: str
    answer: str
    kind: str = ""
    moving: bool = False
    reading: Decimal | None = None
    true: float | None = None
    off_d: float | None = None
    allowed_d: Decimal | None = None
    passed: bool | None = None

    def cells(self) -> tuple[str, ...]:
        """For a table, without the mark: when, step, what was sent, read, true, off by how much of what."""
        at = seconds(self.t_us).removesuffix(" s")
        if self.reading is None or self.true is None or self.off_d is None:
            return at, f"{self.step}: {self.answer.strip()}", self.command, "-", "-", "-"
        read = f"{self.reading} {self.kind}"
        off = "-  in motion,\nnot judged" if self.passed is None else f"{self.off_d:+.2f} of {self.allowed_d}"
        return at, self.step, self.command, read, f"{self.true:.2f}", off


@dataclass(frozen=True, slots=True)
class Result:
    """What became of the demo.  trouble: what went wrong beside the weights, "" for nothing."""

    title: str
    port: str
    unit: str
    interval: Decimal
    rows: tuple[Row, ...]
    trouble: str

    @property
    def passed(self) -> bool:
        """The client came to its end, and every stable weight it read is within tolerance."""
        judged = [r.passed for r in self.rows if r.passed is not None]
        return not self.trouble and bool(judged) and all(judged)

    def summary(self) -> str:
        """The last line."""
        if self.trouble:
            return f"the demo went wrong: {self.trouble}"
        judged = [r for r in self.rows if r.passed is not None]
        furthest = max((abs(r.off_d) for r in judged if r.off_d is not None), default=0.0)
        good = sum(r.passed is True for r in judged)
        return (
            f"{good} of {len(judged)} stable readings within tolerance; the furthest is {furthest:.2f} d off"
        )

    def document(self) -> dict[str, Any]:
        """For --json."""
        return {
            "title": self.title,
            "simulated": True,
            "port": self.port,
            "unit": self.unit,
            "interval": str(self.interval),
            "readings": [_document(row) for row in self.rows],
            "trouble": self.trouble,
            "passed": self.passed,
        }


def _document(row: Row) -> dict[str, Any]:
    return {
        "at_s": row.t_us / 1e6,
        "step": row.step,
        "command": row.command,
        "answer": row.answer,
        "kind": row.kind,
        "moving": row.moving,
        "reading": None if row.reading is None else str(row.reading),
        "true": row.true,
        "off_d": row.off_d,
        "allowed_d": None if row.allowed_d is None else str(row.allowed_d),
        "passed": row.passed,
    }


def run_demo(speed: float, tell: Callable[[str], None]) -> Result:
    """Serve, let the client weigh, compare.  tell: takes lines on the way.  Raises BadInput."""
    checked_speed(speed)
    scenario = load(shipped("scenarios") / "demo.yaml")
    plan, profile, _checks = build(scenario)
    bench = Bench(plan, profile, scenario.file.seed)
    tell(f"{scenario.file.title}, at {speed:g} times real speed")
    exchanges: list[Exchange] = []
    live = Live(bench, plan.card, "scp0499", lambda line: tell(str(line)), exchanges.append, kept_us=None)
    session = asyncio.run(_session(live, speed, tell))
    columns = bench.trace.columns()
    true_kg = dict(zip(columns.t_us.tolist(), columns.true_kg.tolist(), strict=True))
    truth = Truth(true_kg, plan.card.interval, profile)
    rows, trouble = truth.beside(session.said, exchanges)
    return Result(
        scenario.file.title,
        session.port,
        plan.card.unit,
        plan.card.interval,
        tuple(rows),
        session.trouble or trouble,
    )


@dataclass(slots=True)
class Session:
    """What a live session leaves behind."""

    port: str
    said: list[Said]
    trouble: str


async def _session(live: Live, speed: float, tell: Callable[[str], None]) -> Session:
    """Serve on a pseudo-terminal for as long as the client lives."""
    stop = asyncio.Event()
    session = Session("", [], "the client was not started")
    clients: list[asyncio.Task[None]] = []

    async def client() -> None:
        try:
            session.trouble = await _client(session, BELIEVED_US / 1e6 / speed, tell)
        finally:
            stop.set()

    def ready(connections: tuple[Connection, ...]) -> None:
        for line in Opened(connections).lines():
            tell(line)
        session.port = connections[0].address
        clients.append(asyncio.create_task(client()))

    longest_s = GRACE_S + LONGEST_US / 1e6 / speed
    await serve(live, [PseudoTerminal(live)], stop, speed, longest_s, ready)
    if not stop.is_set():
        clients[0].cancel()
        session.trouble = f"the client was not done within {longest_s:g} s"
    await asyncio.gather(*clients, return_exceptions=True)
    return session


async def _client(session: Session, believed_s: float, tell: Callable[[str], None]) -> str:
    """Start the client, follow what it says; what went wrong, "" for nothing."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-P", str(CLIENT), session.port, f"{believed_s:.3f}",
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    tell(f"the client is process {process.pid}, with nothing but pyserial and the port's name")
    try:
        assert process.stdout is not None
        assert process.stderr is not None
        async for line in process.stdout:
            told = json.loads(line)
            said = Said(told["step"], told["command"], told["number"], told["answer"].encode("ascii"))
            session.said.append(said)
            tell(f"  {said.step:<28} {said.command}  {said.answer!r}")
        errors = (await process.stderr.read()).decode("utf-8", "replace").strip()
        if await process.wait() == 0:
            return ""
        return f"the client ended with: {errors.splitlines()[-1] if errors else process.returncode}"
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


def singly(exchanges: list[Exchange]) -> list[Exchange]:
    """Each answer by itself: what a client in haste asked in one go was answered in one go."""
    return [
        replace(sent, answered=answer + b"\r")
        for sent in exchanges
        for answer in sent.answered.split(b"\r")[:-1]
    ]


class Truth:
    """What was really on the deck when an indication was made."""

    def __init__(self, true_kg: dict[int, float], interval: Decimal, profile: Profile) -> None:
        """true_kg: true mass on the deck by the time of each indication."""
        self._true_kg = true_kg
        self._interval = interval
        self._profile = profile
        self._stage = profile.stages[0]  # of a scale in use
        self._tared_kg = 0.0

    def beside(self, said: list[Said], exchanges: list[Exchange]) -> tuple[list[Row], str]:
        """Each reading of the client beside the truth; and what the two sides do not agree on, if any."""
        rows: list[Row] = []
        answers = singly(exchanges)
        for one in said:
            sent = answers[one.number - 1] if one.number <= len(answers) else None
            if sent is None or sent.answered != one.answer:
                return rows, f"answer {one.number} was {one.answer!r} at the client, not as it was sent"
            rows.append(self._row(one, sent))
        return rows, ""

    def _row(self, said: Said, sent: Exchange) -> Row:
        text = said.answer.decode("ascii")
        t_us = sent.indication.t_us
        if len(text) != WEIGHT_OCTETS or "-" * 10 in text:
            return Row(sent.t_us, said.step, said.command, text)
        deck_kg = self._true_kg[t_us]
        if said.command[0] == "T":
            self._tared_kg = float(said.command[1:] or deck_kg)
        kind = text[3].upper()
        true = {"G": deck_kg, "N": deck_kg - self._tared_kg, "T": self._tared_kg}[kind]
        reading, moving = Decimal(text[6:16].strip()), text[4] == "M"
        off_d = (float(reading) - true) / float(self._interval)
        allowed_d = tolerance_d(abs(round(reading / self._interval)), self._profile, self._stage)
        passed = None if moving else abs(off_d) <= allowed_d
        return Row(
            t_us, said.step, said.command, text, KINDS[kind], moving, reading, true, off_d, allowed_d, passed
        )
