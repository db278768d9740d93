"""Options as people write them; the ready file; what a person is told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput
from benchsim.serve.live import Connection, Exchange, Live, forget_ready_file, write_ready_file
from benchsim.serve.session import Options, announcement, checked_speed, duration_s, run_session
from tests.serve.small_bench import CARD, SmallBench

PLACES = (Connection("serial", "/dev/pts/9", ()), Connection("tcp", "127.0.0.1:5000", (("shell", "do it"),)))


@pytest.mark.parametrize(
    ("text", "seconds"), [("30", 30), ("0.5", 0.5), ("1e1", 10), ("30 s", 30), ("2min", 120)]
)
def test_a_duration_is_seconds_or_carries_its_unit(text: str, seconds: float) -> None:
    assert duration_s(text) == seconds


@pytest.mark.parametrize("text", ["", "0", "-5", "soon", "5 kg", "0 s", "NaN"])
def test_a_duration_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        duration_s(text)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), float("inf"), 1e9])
def test_a_speed_that_cannot_be_walked_is_refused(speed: float) -> None:
    with pytest.raises(BadInput, match="a factor above 0"):
        checked_speed(speed)


def test_the_ready_file_lists_every_place_under_its_kind(tmp_path: Path) -> None:
    file = tmp_path / "ready.json"
    write_ready_file(file, PLACES)
    told = json.loads(file.read_text())
    assert told["serial"] == ["/dev/pts/9"]
    assert told["tcp"] == ["127.0.0.1:5000"]
    assert told["simulated"] is True
    assert list(tmp_path.iterdir()) == [file]


def test_a_ready_file_that_cannot_be_written_is_told_before_anything_is_served(tmp_path: Path) -> None:
    said: list[str] = []
    for path in (tmp_path, tmp_path / "nowhere" / "ready.json"):
        with pytest.raises(BadInput, match="name a file that can be written"):
            run_session(
                SmallBench(), CARD, "scp0499", Options(("pty",), ready_file=path, duration="1"), said.append
            )


def test_the_ready_file_of_an_earlier_session_is_taken_away_first(tmp_path: Path) -> None:
    file = tmp_path / "ready.json"
    file.write_text("{}")
    forget_ready_file(file)
    forget_ready_file(file)
    assert not file.exists()


def test_what_is_told_says_simulated_and_can_be_pasted() -> None:
    lines = announcement(PLACES)
    assert "SIMULATED" in lines[0]
    assert "serial: /dev/pts/9" in lines
    assert any(line.endswith("do it") for line in lines)


def test_a_client_that_comes_and_goes_is_told_and_kept_in_the_trace() -> None:
    bench, said = SmallBench(), list[str]()
    live = Live(bench, CARD, "scp0499", said.append)
    client = live.join("tcp 127.0.0.1:1", lambda _data: None)
    live.leave(client, "left")
    live.leave(client, "left again")
    assert said == ["tcp 127.0.0.1:1: came", "tcp 127.0.0.1:1: left"]
    assert [(e.kind, e.subject, e.text) for e in bench.trace.events] == [
        ("client", "tcp 127.0.0.1:1", "came"),
        ("client", "tcp 127.0.0.1:1", "left"),
    ]


def test_a_client_is_answered_with_what_the_bench_shows_after_its_command() -> None:
    bench, got = SmallBench(), list[bytes]()
    seen: list[Exchange] = []
    live = Live(bench, CARD, "scp0499", lambda _line: None, seen.append)
    client = live.join("one", got.append)
    bench.load_d = 620
    bench.run(200_000)
    client.heard(b"\nW\r\nT\r")
    assert got == [b"\n 1G       12400kg \r\n 1N           0kg \r"]
    assert (seen[0].asked, seen[0].answered, seen[0].t_us) == (b"\nW\r\nT\r", got[0], 200_000)


def test_a_repeat_goes_to_who_asked_for_it_with_every_indication() -> None:
    bench, one, other = SmallBench(), list[bytes](), list[bytes]()
    live = Live(bench, CARD, "scp0499", lambda _line: None)
    first = live.join("one", one.append)
    live.join("other", other.append)
    first.heard(b"\nR\r")
    bench.run(1_000_000)
    assert len(one) == 11
    assert other == []


def test_a_bench_that_breaks_ends_the_session_with_its_own_error_and_closes_what_was_open() -> None:
    class Broken(SmallBench):
        def run(self, until_us: int) -> None:
            raise ZeroDivisionError("the bench broke")

    said: list[str] = []
    with pytest.raises(ZeroDivisionError, match="the bench broke"):
        run_session(Broken(), CARD, "scp0499", Options(("pty",), ("0",)), said.append)
    assert said[-1].endswith("closed: the bench ends")
