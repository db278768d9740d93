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
