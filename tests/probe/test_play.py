"""One case in play: what is kept, what a finding names, how it ends."""

from __future__ import annotations

from benchsim.ground.randomness import Streams
from benchsim.link.frames import Kind
from benchsim.probe.case import Case, Side
from benchsim.probe.finding import Differs, NotReached, Verdict
from benchsim.probe.line import Act, Line, Until
from benchsim.probe.play import Play
from benchsim.probe.setting import Setting

SETTING = Setting(key=bytes(range(16)), patience_us=10_000)


def play(script: object, needs: int = 1) -> Play:
    case = Case("node-x", Side.NODE, "x", "1", script, needs)  # type: ignore[arg-type]
    return Play(case, SETTING, Streams(1).dice("x"), 1000)


def test_a_script_that_ends_is_conforming_and_its_frames_are_kept() -> None:
    async def script(line: Line) -> None:
        line.send(b"one")
        await line.pause(500)

    played = play(script)
    assert played.take_out() == [b"one"]
    assert played.waits_for == Until(1500)
    played.reached(1499)
    assert played.result is None
    played.reached(1500)
    assert played.result is not None
    assert played.result.verdict is Verdict.CONFORMING
    assert [s.octets for s in played.result.said] == [b"one"]


def test_octets_that_are_no_frame_are_a_finding_that_names_them() -> None:
    async def script(line: Line) -> None:
        line.send(b"one")
        await line.expect(Kind.OFFER, 1000)

    played = play(script)
    played.receive(b"what is this?", 1200)
    assert played.result is not None
    assert (played.result.verdict, played.result.at) == (Verdict.NOT_CONFORMING, 1)
    assert "is no frame" in played.result.why


def test_a_frame_that_does_not_come_is_a_finding_at_the_newest_frame() -> None:
    async def script(line: Line) -> None:
        line.send(b"one")
        await line.expect(Kind.OFFER, 1000, why="it was sought")

    played = play(script)
    assert played.waits_for == Until(1000 + 1000 + 2 * 10_000)  # what is due, and patience both ways
    played.reached(22_000)
    assert played.result is not None
    assert (played.result.at, played.result.why) == (0, "no offer within 0.001 s: it was sought")


def test_an_act_is_asked_for_and_its_answer_handed_on() -> None:
    answers: list[str | None] = []

    async def script(line: Line) -> None:
        answers.append(await line.ask("restart 1"))
        answers.append(await line.tell("state 1"))
        raise Differs("as it wishes")

    played = play(script)
    assert played.waits_for == Act("restart 1")
    played.reached(5000)
    assert played.waits_for == Act("restart 1")
    played.acted("done", 6000)
    played.acted(None, 7000)
    assert answers == ["done", None]
    assert played.result is not None
    assert (played.result.verdict, played.result.at) == (Verdict.NOT_CONFORMING, None)


def test_what_nobody_can_do_makes_a_case_not_reached() -> None:
    async def script(line: Line) -> None:
        await line.ask("restart 1")

    played = play(script)
    played.acted(None, 2000)
    assert played.result is not None
    assert played.result.verdict is Verdict.NOT_REACHED
    assert "restart 1" in played.result.why


def test_a_case_that_needs_more_addresses_is_not_begun() -> None:
    async def script(_line: Line) -> None:
        raise NotReached("it was begun")

    played = play(script, needs=2)
    assert played.result is not None
    assert played.result.why == "needs 2 addresses under test"


def test_a_case_that_is_broken_off_is_not_reached() -> None:
    async def script(line: Line) -> None:
        await line.pause(1_000_000)

    played = play(script)
    played.break_off("the medium is gone")
    assert played.result is not None
    assert (played.result.verdict, played.result.why) == (Verdict.NOT_REACHED, "the medium is gone")
