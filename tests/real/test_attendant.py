"""A program that attends a device: what becomes of the probe when it is slow, loud, deaf or no program."""

from __future__ import annotations

import asyncio
import shlex
import sys
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput
from benchsim.probe import attendant
from benchsim.probe.attendant import LONGEST_LINE, started

pytestmark = pytest.mark.real

ECHO = "import sys\nprint('ready', flush=True)\nfor line in sys.stdin:\n    "
DEAF = (
    "import signal, time\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\nprint('ready', flush=True)\n"
    "while True:\n    time.sleep(1)\n"
)


def asked(folder: Path, source: str, *acts: str) -> list[str | None]:
    """What a program answers to these acts; it is gone when this returns."""
    file = folder / "attends.py"
    file.write_text(source, encoding="utf-8")

    async def story() -> list[str | None]:
        program = await started(shlex.join([sys.executable, str(file)]))
        try:
            return [await program.act(act) for act in acts]
        finally:
            await program.leave()
            assert program.ended

    return asyncio.run(asyncio.wait_for(story(), 60))


def test_each_act_has_the_answer_to_itself(tmp_path: Path) -> None:
    assert asked(tmp_path, ECHO + "print(line, end='', flush=True)", "state 1", "cannot", "pair 1") == [
        "state 1",
        None,
        "pair 1",
    ]


def test_an_answer_that_comes_too_late_is_not_taken_for_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attendant, "ACT_TIMEOUT_S", 0.2)
    late = ECHO + "import time; time.sleep(0.5 if 'restart' in line else 0); print(line, end='', flush=True)"
    assert asked(tmp_path, late, "restart 1", "state 1", "state 1") == [None, None, None]


def test_an_answer_that_is_no_line_is_none(tmp_path: Path) -> None:
    loud = ECHO + f"print('x' * {2 * LONGEST_LINE}, flush=True)"
    assert asked(tmp_path, loud, "state 1", "pair 1") == [None, None]


def test_what_cannot_be_printed_is_told_as_such(tmp_path: Path) -> None:
    """XML 1.0 (W3C, 2.2) has no place for it, and a terminal would obey it."""
    coloured = ECHO + "print('\\033[31mflow\\0', flush=True)"
    assert asked(tmp_path, coloured, "state 1") == ["\ufffd[31mflow\ufffd"]


def test_a_program_that_heeds_nothing_is_ended_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attendant, "LEAVE_TIMEOUT_S", 0.2)
    assert asked(tmp_path, DEAF) == []


@pytest.mark.parametrize(("command", "found"), [("", "without a command"), ("it 'is", "no command line")])
def test_what_is_no_command_is_told(command: str, found: str) -> None:
    with pytest.raises(BadInput, match=found):
        asyncio.run(started(command))
