"""Options as people write them; the ready file; what a person is told."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput
from benchsim.ground.library import shipped
from benchsim.serve.live import Connection, Exchange, Live
from benchsim.serve.opened import ONE_LINE, Opened
from benchsim.serve.ready import ReadyFile
from benchsim.serve.session import Options, checked_speed, duration_s, run_session
from benchsim.serve.stopping import Stopping
from benchsim.serve.typist import Typist
from tests.serve.small_bench import CARD, SCENE, SmallBench

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
    ready = ReadyFile(file)
    ready.write(Opened(PLACES).places())
    told = json.loads(file.read_text())
    assert told["serial"] == ["/dev/pts/9"]
    assert told["tcp"] == ["127.0.0.1:5000"]
    assert told["simulated"] is True
    assert list(tmp_path.iterdir()) == [file]


def test_a_ready_file_that_cannot_be_written_is_told_before_anything_is_served(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nowhere" / "ready.json"):
        with pytest.raises(BadInput, match="name a file that can be written"):
            ReadyFile(path)


def test_the_ready_file_of_an_earlier_session_is_taken_away_first(tmp_path: Path) -> None:
    file = tmp_path / "ready.json"
    file.write_text("{}")
    ReadyFile(file)
    ReadyFile(file)
    assert list(tmp_path.iterdir()) == []


def test_a_session_takes_its_own_ready_file_away_and_no_other_s(tmp_path: Path) -> None:
    file = tmp_path / "ready.json"
    one, other = ReadyFile(file), ReadyFile(file)
    one.write({"serial": ["/dev/pts/1"]})
    other.write({"serial": ["/dev/pts/2"]})
    one.take_away()
    assert file.exists()
    other.take_away()
    assert not file.exists()


def session(options: Options, say: Callable[[str], None], ready: ReadyFile | None = None) -> None:
    run_session(SmallBench(), SCENE, options, say, Stopping(), ready)


def test_the_ready_file_is_there_while_all_listens_and_gone_afterwards(tmp_path: Path) -> None:
    file, seen = tmp_path / "ready.json", list[bool]()
    session(Options(("pty",), duration="0.05"), lambda _line: seen.append(file.exists()), ReadyFile(file))
    assert seen[0] is False
    assert any(seen)
    assert not file.exists()


@pytest.mark.parametrize(
    "options",
    [
        Options(("pty",), ("0", "192.0.2.1:0")),
        Options(("pty", "/dev/ttyNOWHERE9")),
        Options(("pty",), speed=0.0),
        Options(("pty",), duration="0 s"),
        Options(("pty",), ("65536",)),
    ],
)
def test_a_session_that_cannot_be_says_nothing_but_its_error(options: Options) -> None:
    said: list[str] = []
    with pytest.raises(BadInput):
        session(options, said.append)
    assert said == []


def test_a_session_that_opens_says_its_title_first_and_ends_in_good_order() -> None:
    said: list[str] = []
    session(Options(("pty",), duration="0.05"), said.append)
    assert said[0] == SCENE.title
    assert said[-1].startswith("ended in good order")


def test_a_program_reads_connections_first_then_what_happens_then_the_end() -> None:
    said: list[str] = []
    session(Options(("pty",), ("0",), duration="0.05", as_json=True), said.append)
    first, *between, last = map(json.loads, said)
    assert (first["kind"], first["title"], first["simulated"]) == ("ready", SCENE.title, True)
    assert [c["kind"] for c in first["connections"]] == ["serial", "tcp"]
    assert first["connections"][0]["address"].startswith("/dev/")
    assert [line["text"].split(": ")[1] for line in between] == ["open", "closed"]
    assert {line["kind"] for line in between} == {"client"}
    assert (last["kind"], last["simulated"]) == ("end", True)


def test_what_is_typed_is_done_each_time_and_a_slip_is_told_as_json_too() -> None:
    read_end, write_end = os.pipe()
    said: list[str] = []
    os.write(write_end, b"zero\n" * 30 + b"nothing\n")
    os.close(write_end)
    bench = SmallBench()
    listened = Typist.listen
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Typist, "listen", lambda self: listened(self, read_end))
        run_session(bench, SCENE, Options(("pty",), commands=True, as_json=True), said.append, Stopping())
    os.close(read_end)
    (typed,) = [line for line in map(json.loads, said) if line["kind"] == "typed"]
    assert typed["text"].startswith("not done: unknown command 'nothing'")
    assert len(bench.done) == 30


def test_an_end_asked_for_before_it_listens_is_an_end_in_good_order() -> None:
    stopping, said = Stopping(), list[str]()
    stopping.ask()
    run_session(SmallBench(), SCENE, Options(("pty",)), said.append, stopping)
    assert said[-1].startswith("ended in good order")


def test_an_output_that_is_full_ends_the_session_and_is_told_once() -> None:
    tried: list[str] = []

    def full(line: str) -> None:
        tried.append(line)
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space left on device"):
        session(Options(("pty",)), full)
    assert len(tried) == 1


def test_what_is_told_says_simulated_and_can_be_pasted() -> None:
    lines = Opened(PLACES).lines()
    assert "SIMULATED" in lines[0]
    assert "serial: /dev/pts/9" in lines
    assert any(line.endswith("do it") for line in lines)


def test_who_comes_on_a_serial_line_is_told_to_send_esc_first() -> None:
    assert ONE_LINE in Opened(PLACES).lines()
    assert ONE_LINE not in Opened(PLACES[1:]).lines()
    page = (shipped("protocols") / "scp0499" / "README.md").read_text("utf-8")
    assert "send ESC first" in ONE_LINE
    assert "send ESC first" in page


def test_a_client_that_comes_and_goes_is_told_and_kept_in_the_trace() -> None:
    bench, said = SmallBench(), list[str]()
    live = Live(bench, CARD, "scp0499", lambda line: said.append(str(line)))
    client = live.join("tcp 127.0.0.1:1", lambda _data: None)
    live.leave(client, "left")
    live.leave(client, "left again")
    assert said == ["0.000 s     tcp 127.0.0.1:1: came", "0.000 s     tcp 127.0.0.1:1: left"]
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
        run_session(Broken(), SCENE, Options(("pty",), ("0",)), said.append, Stopping())
    assert said[-1].endswith("closed: the bench ends")
