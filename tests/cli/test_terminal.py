"""On a real terminal: tables as wide as it is, help in a frame, progress only where somebody looks."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest

from benchsim.ground.library import shipped
from tests.cli.calls import GOOD, HEAD

pytestmark = pytest.mark.real

PROGRAM = (sys.executable, "-m", "benchsim.cli.main")
# The same for somebody without patience: everything counts as long work.
IMPATIENT = (
    sys.executable,
    "-c",
    "import sys, benchsim.cli.run as run; run.LONG_S = 0.0\n"
    "from benchsim.cli.main import main; main(sys.argv[1:])",
)
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def on_a_terminal(
    columns: int, *words: str, only_stderr: bool = False, program: tuple[str, ...] = PROGRAM
) -> tuple[int, str, str]:
    """Exit code, what the terminal was sent without colours, and what came through a pipe on stdout."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    environment = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "NO_COLOR", "CI")}
    process = subprocess.Popen(
        [*program, *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE if only_stderr else theirs,
        stderr=theirs,
        env=environment | {"TERM": "xterm-256color"},
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the other side is closed: how Linux ends a pseudo-terminal
            break
        if not piece:
            break
        seen += piece
    os.close(ours)
    piped = process.stdout.read().decode() if process.stdout else ""
    return process.wait(timeout=60), ESCAPES.sub("", seen.decode()), piped


@pytest.mark.parametrize("columns", [80, 120])
def test_a_verdict_table_is_no_wider_than_the_terminal(columns: int) -> None:
    code, seen, _ = on_a_terminal(columns, "run", str(shipped("scenarios") / "two-on-one-address.yaml"))
    assert code == 0
    table = [line.rstrip("\r") for line in seen.split("\n") if line.startswith(("ok", "  ", "─"))]
    assert len(table) > 8
    assert max(len(line) for line in table if ".yaml" not in line) <= columns
    assert "1 of 1 scenario passed; 8 of 8 checks held" in seen


def test_help_on_a_terminal_lists_the_verbs_too() -> None:
    code, seen, _ = on_a_terminal(80, "--help")
    assert code == 0
    assert re.search(r"run\s+Run scenarios on the virtual clock", seen)
    assert max(map(len, seen.replace("\r", "").split("\n"))) <= 80


def test_progress_goes_to_the_terminal_and_the_result_alone_to_the_pipe(tmp_path: Path) -> None:
    path = tmp_path / "long.yaml"
    path.write_text(HEAD + "lasts: 5 min\nchecks: [at 5 s centre of zero is on]\n", "utf-8")
    code, seen, piped = on_a_terminal(80, "run", "--json", str(path), only_stderr=True, program=IMPATIENT)
    assert code == 0
    assert json.loads(piped)["passed"] is True
    assert re.search(r"long .*\d+ %", seen)


def test_short_work_draws_no_progress(tmp_path: Path) -> None:
    path = tmp_path / "short.yaml"
    path.write_text(GOOD, "utf-8")
    code, seen, piped = on_a_terminal(80, "run", "--json", str(path), only_stderr=True)
    assert (code, seen) == (0, "")
    assert json.loads(piped)["passed"] is True
