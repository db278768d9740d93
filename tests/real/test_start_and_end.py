"""What goes wrong at the start, signals at any moment, an output that is full, the pages' own live lines."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import serial

from tests.real.served import (
    EMPTY,
    PATIENCE_S,
    ROOT,
    Served,
    TcpClient,
    empty_deck,
    run_to_end,
    served,
    small_server,
    wait_for,
)

pytestmark = pytest.mark.real

# The verb from its first line, without what the interpreter does before; it says when it has begun.
BEGUN = """
import sys
from benchsim.cli import serve
real = serve._serve
def told(*words):
    print("begun", flush=True)
    real(*words)
serve._serve = told
sys.argv = ["benchsim", "serve", *sys.argv[1:]]
from benchsim.cli.main import main
main()
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("after_s", [0.0, 0.1, 0.3])
def test_a_signal_before_it_listens_is_an_end_in_good_order(number: int, after_s: float) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", BEGUN, str(Path(__file__).with_name("empty-deck.yaml"))],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "begun\n"
    time.sleep(after_s)
    process.send_signal(number)
    _out, err = process.communicate(timeout=PATIENCE_S)
    assert (process.returncode, err) == (0, "")


def test_an_output_that_is_full_is_one_line_and_exit_code_2() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            empty_deck(), cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, timeout=PATIENCE_S,
            check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "the output cannot be written: No space left on device" in done.stderr


@pytest.mark.parametrize(
    "options",
    [("--speed", "0"), ("--duration", "0 s"), ("--tcp", "nowhere"), ("--tcp", "0", "--tcp", "192.0.2.1:0")],
)
def test_nothing_is_on_stdout_when_it_cannot_begin(options: tuple[str, ...]) -> None:
    done = run_to_end(empty_deck(*options))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1


def serve_shipped(*words: str) -> list[str]:
    return [sys.executable, "-m", "benchsim.cli.main", "serve", *words]


def test_the_link_of_each_node_is_told_under_the_title_as_a_run_tells_it() -> None:
    served_lines = run_to_end(serve_shipped("far-deck", "--duration", "0.1")).stdout.splitlines()
    ran = run_to_end([sys.executable, "-m", "benchsim.cli.main", "run", "far-deck"]).stdout
    assert [line.split(",")[0] for line in served_lines[1:3]] == ["node 1: 240 m", "node 2: 805 m"]
    assert all(line in ran for line in served_lines[1:3])


def test_a_program_can_read_all_that_is_told() -> None:
    done = run_to_end(serve_shipped("far-deck", "--tcp", "0", "--duration", "1", "--json", "--seed", "7"))
    first, *between, last = map(json.loads, done.stdout.splitlines())
    assert (first["kind"], first["seed"]) == ("ready", 7)
    assert [link["length_m"] for link in first["links"]] == [240, 805]
    assert {"kind", "at_s", "subject", "text", "done"} == set(between[0])
    assert [line["text"] for line in between if line["kind"] == "link"][:1] == ["link: pair all"]
    assert (last["kind"], done.returncode) == ("end", 0)


def test_a_client_that_asks_for_zero_without_end_is_told_in_few_lines(tmp_path: Path) -> None:
    asked = 20_000
    with served(empty_deck("--tcp", "0"), tmp_path) as bench, TcpClient(bench.tcp[0]) as client:
        begun_s = time.monotonic()
        for _ in range(asked // 100):
            client.socket.sendall(b"\nZ\r" * 100)
            assert all(client.answer() == EMPTY for _ in range(100))
        lasted_s = time.monotonic() - begun_s
        assert bench.ended() == 0
        told = [line for line in bench.said().splitlines() if "command done: zero" in line]
    again = [int("".join(re.findall(r"\(and ([\d ]+) more", line)).replace(" ", "") or 0) for line in told]
    assert 1 + sum(again) == asked
    assert len(told) <= 3 + lasted_s


def test_what_is_typed_is_answered_each_time_however_often_it_is_the_same() -> None:
    done = subprocess.run(
        empty_deck("--commands", "-"), cwd=ROOT, input="record\n" * 30, capture_output=True, text=True,
        timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert done.stdout.count("command refused: record: ") == 30
    assert done.returncode == 0


def test_an_earlier_ready_file_is_gone_even_when_the_scenario_is_wrong(tmp_path: Path) -> None:
    ready = tmp_path / "ready.json"
    ready.write_text("{}")
    command = [sys.executable, "-m", "benchsim.cli.main", "serve", "nothing.yaml", "--ready-file", str(ready)]
    assert run_to_end(command).returncode == 2
    assert not ready.exists()


def test_the_ready_file_goes_when_it_ends(tmp_path: Path) -> None:
    with served(empty_deck("--tcp", "0"), tmp_path) as bench:
        assert (tmp_path / "ready.json").exists()
        assert bench.ended(signal.SIGTERM) == 0
    assert not (tmp_path / "ready.json").exists()


def test_the_printed_client_reads_a_whole_answer_after_one_that_left_a_repeat(tmp_path: Path) -> None:
    with served(small_server("--serial", "pty"), tmp_path) as bench:
        with serial.Serial(bench.serial[0], timeout=PATIENCE_S) as client:
            client.write(b"\nW\r" * 2000 + b"\nR\r")  # more answers than fit: the last begun is cut
            bench.says("dropped: nobody takes the answers")
        line = re.search(r"^  pyserial +python -c \"(.*)\"$", bench.said(), flags=re.MULTILINE)
        assert line is not None
        done = run_to_end([sys.executable, "-c", line[1]])
        assert done.stdout.strip() == repr(EMPTY)


# -- the pages' live lines: each ```shell block of README.md ------------------------------------------------

PAGE = (ROOT / "README.md").read_text(encoding="utf-8")
LIVE = re.findall(r"^```shell\nbenchsim (serve .*)\n```", PAGE, flags=re.MULTILINE)
TYPED = re.findall(r"^```text\n(.*?)^```", PAGE, flags=re.DOTALL | re.MULTILINE)


def begun(words: str, folder: Path) -> tuple[subprocess.Popen[str], Path]:
    output = folder / "output.txt"
    with output.open("w") as sink:
        process = subprocess.Popen(
            [sys.executable, "-m", "benchsim.cli.main", *words.split()],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=sink, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
    wait_for(lambda: "node 1: flow" in output.read_text() or process.poll() is not None, "a node")
    assert process.poll() is None, output.read_text()
    return process, output


def test_the_page_has_live_lines_and_lines_to_type() -> None:
    assert len(LIVE) == 2
    assert len(TYPED) == 1


@pytest.mark.parametrize("words", LIVE)
def test_a_live_line_of_the_page_serves_until_it_is_stopped(words: str, tmp_path: Path) -> None:
    process, output = begun(words, tmp_path)
    listed = Served(process, [], [], output)
    assert listed.ended() == 0
    assert "ended in good order" in listed.said()


def test_what_the_page_says_to_type_is_taken_and_the_last_line_ends_it(tmp_path: Path) -> None:
    words = next(words for words in LIVE if "--commands" in words)
    process, output = begun(words, tmp_path)
    lines = TYPED[0].splitlines(keepends=True)
    assert process.stdin is not None
    process.stdin.write("".join(lines[:-1]))
    process.stdin.flush()
    wait_for(lambda: "remove box" in output.read_text(), "the last load")
    assert process.poll() is None
    process.stdin.write(lines[-1])
    process.stdin.flush()
    assert process.wait(PATIENCE_S) == 0
    said = output.read_text()
    assert "not done" not in said
    assert said.splitlines().count("done") == 2
    assert "load: place box: 1200 kg" in said
    assert "fault" not in said


# -- the page's program ----------------------------------------------------------------------------------

PROGRAM = re.findall(r"^```python\n(.*?)^```", PAGE, flags=re.DOTALL | re.MULTILINE)[0]


def run_program(text: str, folder: Path) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    return subprocess.run(
        [sys.executable, "-c", text], cwd=folder, capture_output=True, text=True, timeout=2 * PATIENCE_S,
        check=False, env=os.environ | {"PATH": path},
    )  # fmt: skip


def test_the_page_s_program_works_in_a_folder_where_a_ready_file_was_left(tmp_path: Path) -> None:
    (tmp_path / "ready.json").write_text('{"serial": ["/dev/ttyNOWHERE9"], "tcp": []}')
    done = run_program(PROGRAM, tmp_path)
    assert done.returncode == 0, done.stderr
    assert "0kg" in done.stdout


def test_the_page_s_program_says_at_once_that_serve_has_ended(tmp_path: Path) -> None:
    begun_s = time.monotonic()
    done = run_program(PROGRAM.replace('"quiet-platform"', '"loud-platform"'), tmp_path)
    assert done.returncode == 1
    assert "loud-platform: No such file" in done.stderr
    assert "serve has ended: it says why on stderr" in done.stderr
    assert time.monotonic() - begun_s < 15  # the page waits 30 s for one that is still there
