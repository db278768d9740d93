"""A run that is killed while it is recorded: the file holds its whole seconds, with all their frames."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchsim.record.reader import read_recording
from benchsim.record.sightings import Sightings
from benchsim.scenario.run import run
from tests.real.served import PATIENCE_S, ROOT, wait_for

pytestmark = pytest.mark.real

SCENARIO = """\
title: A run without an end in sight
lasts: {lasts} s
scale: {{capacity: 3 t, interval: 1 kg}}
cells: {{count: 8}}
link: {{loss: 1 %, delay: 2 ms}}
"""


@pytest.mark.parametrize("octets", [1, 60_000, 200_000])
def test_a_recording_whose_run_was_killed_holds_whole_seconds_and_the_verb_says_what_is_missing(
    tmp_path: Path, octets: int
) -> None:
    scenario, kept = tmp_path / "s.yaml", tmp_path / "run.mcap"
    scenario.write_text(SCENARIO.format(lasts=80_000), "utf-8")
    command = [sys.executable, "-m", "benchsim.cli.main"]
    with subprocess.Popen([*command, "run", str(scenario), "--record", str(kept)], cwd=ROOT) as process:
        try:
            wait_for(lambda: kept.exists() and kept.stat().st_size >= octets, "the recording grows")
        finally:
            process.kill()
        process.wait(PATIENCE_S)
    assert process.returncode == -9
    back = read_recording(kept)
    until_us = back.trace.newest_us()
    frames = [s for s in Sightings(kept) if not s.arrived]
    assert "the end of the run" in back.missing[-1]
    if octets == 1:
        return
    assert until_us > 10_000_000
    scenario.write_text(SCENARIO.format(lasts=until_us // 1_000_000 + 1), "utf-8")
    run(scenario, record=tmp_path / "whole.mcap")
    whole = [s for s in Sightings(tmp_path / "whole.mcap") if not s.arrived]
    assert frames == [s for s in whole if s.t_us < (until_us // 1_000_000 + 1) * 1_000_000]
    done = subprocess.run(
        [*command, "decode", str(kept), "--from", "2 s", "--until", "2.1 s", "--brief"],
        cwd=ROOT, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    assert " found, read as a recording: " in done.stdout
    assert "the end of the run: the last thing in it is at " in done.stderr
    assert ", the run was to last 80000 s" in done.stderr
