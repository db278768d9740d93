"""The probe and a device under test as two processes, over each medium, on loopback."""

from __future__ import annotations

import json
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.real

BENCHSIM = [sys.executable, "-m", "benchsim.cli.main"]
PATIENCE_S = 540
PAIRS = {"node": "node-seek-is-answered-by-an-offer", "host": "host-a-right-node-is-paired-and-flows"}


def probed(side: str, *words: str, attendant: list[str]) -> subprocess.CompletedProcess[str]:
    command = [*BENCHSIM, "probe", side, "--json", *words, "--attendant", shlex.join(attendant)]
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)


def stand_in(side: str, place: str) -> list[str]:
    return [*BENCHSIM, "probe", "stand-in", side, "--at", place]


@pytest.mark.parametrize("place", ["listen-tcp:0", "listen-udp:0", "pty", "listen-mqtt:0/bench/1"])
@pytest.mark.parametrize("side", PAIRS)
def test_the_built_in_end_conforms_in_a_process_of_its_own(side: str, place: str) -> None:
    if side == "host" and "udp" in place:  # whoever hosts calls its nodes: they listen
        done = probed(side, "--at", place, "--case", PAIRS[side], attendant=stand_in(side, "{at}"))
    else:
        done = probed(side, "--case", PAIRS[side], attendant=stand_in(side, place))
    document = json.loads(done.stdout)
    assert [c["verdict"] for c in document["cases"]] == ["conforming"]
    assert done.returncode == 0


def test_a_device_that_is_gone_is_not_conforming_and_no_traceback(tmp_path: Path) -> None:
    gone = tmp_path / "gone.py"
    gone.write_text("print('at tcp:127.0.0.1:9', flush=True)\n", encoding="utf-8")
    done = probed("node", "--case", PAIRS["node"], attendant=[sys.executable, str(gone)])
    assert done.returncode in (1, 2)
    assert "Traceback" not in done.stderr


def test_an_attendant_that_cannot_leaves_what_needs_it_unreached(tmp_path: Path) -> None:
    helpless = tmp_path / "helpless.py"
    helpless.write_text(
        "import sys\nprint('ready', flush=True)\nfor _ in sys.stdin: print('cannot', flush=True)\n",
        encoding="utf-8",
    )
    words = ("--at", "listen-tcp:0", "--case", "host-a-right-node-is-paired-and-flows")
    done = probed("host", *words, attendant=[sys.executable, str(helpless)])
    document = json.loads(done.stdout)
    assert (done.returncode, document["cases"][0]["verdict"]) == (1, "not reached")
    done = probed("host", *words, "--reached-only", attendant=[sys.executable, str(helpless)])
    assert (done.returncode, json.loads(done.stdout)["passed"]) == (0, True)
