"""A case at wall-clock speed: how long it may last, and what counts as its time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from benchsim.ground.randomness import Streams
from benchsim.probe import live
from benchsim.probe.case import Case, Side
from benchsim.probe.finding import Verdict
from benchsim.probe.line import Line
from benchsim.probe.live import Medium
from benchsim.probe.play import Result
from benchsim.probe.setting import Setting
from benchsim.serve.carrier import Connection

pytestmark = pytest.mark.real


class Silence:
    """A medium on which nobody speaks."""

    async def open(self, _heard: Callable[[bytes], None], _tell: Callable[[str], None]) -> Connection:
        return Connection("silence", "here", ())

    def send(self, _frame: bytes) -> None:
        """Nobody hears it."""

    def close(self) -> None:
        """Nothing was open."""


class Slow:
    """An attendant who takes longer than a case may last."""

    ended = False

    async def act(self, _text: str) -> str | None:
        await asyncio.sleep(2 * live.LONGEST_CASE_US / 1e6)
        return "done"

    async def leave(self) -> None:
        return None


def played(script: Callable[[Line], object], monkeypatch: pytest.MonkeyPatch) -> Result:
    monkeypatch.setattr(live, "LONGEST_CASE_US", 100_000)

    async def story() -> Result:
        medium = Medium(Silence())
        medium.attendant = Slow()
        case = Case("node-x", Side.NODE, "x", "1", script)  # type: ignore[arg-type]
        return await medium.play(case, Setting(key=bytes(16)), Streams(1))

    return asyncio.run(asyncio.wait_for(story(), 20))


def test_the_time_that_an_attendant_takes_is_no_time_of_the_case(monkeypatch: pytest.MonkeyPatch) -> None:
    async def script(line: Line) -> None:
        await line.ask("restart 1")
        await line.pause(10_000)

    assert played(script, monkeypatch).verdict is Verdict.CONFORMING


def test_a_case_that_does_not_end_is_broken_off(monkeypatch: pytest.MonkeyPatch) -> None:
    async def script(line: Line) -> None:
        await line.pause(3_600_000_000)

    result = played(script, monkeypatch)
    assert (result.verdict, result.why) == (Verdict.NOT_REACHED, "it went on for too long")


class Ends:
    """An attendant who does one act and is gone at the next."""

    ended = False

    def __init__(self) -> None:
        self._asked = 0

    async def act(self, _text: str) -> str | None:
        self._asked += 1
        self.ended = self._asked > 1
        return None if self.ended else "done"

    async def leave(self) -> None:
        return None


def test_when_its_attendant_ends_no_more_case_is_played_and_that_is_told_once() -> None:
    played: list[str] = []

    def case(name: str) -> Case:
        async def script(line: Line) -> None:
            played.append(name)
            await line.tell("restart 1")

        return Case(name, Side.NODE, "x", "1", script)

    async def story() -> list[Result]:
        async def attend(_connection: Connection) -> Ends:
            return Ends()

        chosen = [case(f"node-{n}") for n in range(4)]
        setting = Setting(key=bytes(16))
        cases = live.play_all(chosen, setting, Silence(), attend, Streams(1), told.append)
        return [result async for result in cases]

    told: list[str] = []
    found = asyncio.run(asyncio.wait_for(story(), 20))
    assert played == ["node-0", "node-1"]
    assert [r.verdict for r in found] == [Verdict.CONFORMING, *[Verdict.NOT_REACHED] * 3]
    assert [r.why for r in found[1:]] == ["the attendant has ended"] * 3
    assert [line for line in told if "ended" in line] == [
        "the attendant has ended: what is left is not reached"
    ]
