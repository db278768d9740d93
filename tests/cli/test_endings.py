"""How the program ends when it cannot go on: the exit code is no verdict, and one line says what happened."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from benchsim.record.reader import read_recording
from tests.cli.calls import FAILING, HEAD

pytestmark = pytest.mark.real

PROGRAM = (sys.executable, "-m", "benchsim.cli.main")
# The same, with a word on stdout as soon as a run is on its way.
EAGER = (
    sys.executable,
    "-c",
    "import sys, benchsim.cli.endings as e\n"
    "report = e.Brake.report\n"
    "def said(brake, now_us, ends_us):\n"
    "    now_us and print('on its way', flush=True)\n"
    "    return report(brake, now_us, ends_us)\n"
    "e.Brake.report = said\n"
    "from benchsim.cli.main import main; main(sys.argv[1:])",
)
LONG = HEAD + "lasts: 1000 h\nchecks: [at 2 s gross is 1 t within 0 d]\n"
ON_BOTH = pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])


def stopped_on_its_way(number: signal.Signals, *words: str) -> tuple[int, str]:
    """Exit code and stderr of a run that got a signal once it was on its way."""
    process = subprocess.Popen(
        [*EAGER, "run", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout
    assert process.stdout.readline() == "on its way\n"
    process.send_signal(number)
    _, err = process.communicate(timeout=60)
    return process.returncode, err


@ON_BOTH
def test_a_run_that_a_signal_stops_says_where_and_is_no_verdict(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    path = tmp_path / "long.yaml"
    path.write_text(LONG, "utf-8")
    done, err = stopped_on_its_way(number, str(path))
    assert done == code
    assert err.startswith(f"{path}: stopped at ")
    assert err.endswith(" of 3600000 s\n")
    assert err.count("\n") == 1


@ON_BOTH
def test_its_recording_is_whole_up_to_where_it_stopped(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    path, record = tmp_path / "long.yaml", tmp_path / "long.mcap"
    path.write_text(LONG, "utf-8")
    done, err = stopped_on_its_way(number, str(path), "--record", str(record))
    assert done == code
    assert f"; {record} holds the run up to there" in err
    kept = read_recording(record)
    assert kept.missing == ()
    stopped_s = float(err.partition(": stopped at ")[2].split()[0])
    assert kept.trace.ended_us == stopped_s * 1e6 > 0


def sh(line: str, *words: str) -> subprocess.CompletedProcess[str]:
    """A line of shell in which "$@" is the program with words."""
    return subprocess.run(
        ["sh", "-c", line, "sh", *PROGRAM, *words], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize("words", [("checks",), ("schema",), ("run",)], ids=" ".join)
def test_a_reader_that_goes_away_is_neither_a_traceback_nor_a_failed_check(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    path = tmp_path / "failing.yaml"
    path.write_text(FAILING, "utf-8")
    files = (str(path),) if words == ("run",) else ()
    done = sh('{ "$@"; echo $? >&2; } | true', *words, *files)
    assert done.stderr == "141\n"


@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(
    "words",
    [
        ("--help",),
        ("--version",),
        ("faults",),
        ("schema",),
        ("scenarios", "--json"),
        ("run", "quiet-platform"),
    ],
    ids=" ".join,
)
def test_an_output_that_takes_no_more_is_one_line_and_exit_code_2(
    words: tuple[str, ...], unbuffered: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONUNBUFFERED", unbuffered)
    done = sh('"$@" > /dev/full', *words)
    assert (done.returncode, done.stderr) == (
        2,
        "the output cannot be written: No space left on device\n",
    )


def test_a_program_without_any_output_still_has_its_exit_code(tmp_path: Path) -> None:
    path = tmp_path / "failing.yaml"
    path.write_text(FAILING, "utf-8")
    assert sh('"$@" >&- 2>&-', "run", str(path)).returncode == 1


def test_a_recording_that_breaks_off_is_named(tmp_path: Path) -> None:
    path, record = tmp_path / "s.yaml", tmp_path / "run.mcap"
    path.write_text(HEAD + "lasts: 20 min\n", "utf-8")
    done = sh('ulimit -f 16; "$@"', "run", str(path), "--record", str(record))
    assert done.returncode == 2
    first, second = done.stderr.splitlines()
    assert "File too large" in first
    assert second == f"{record}: the recording is cut short"
