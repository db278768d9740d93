"""Help must come at once: a verb loads what it needs when it is typed, and not before."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "numpy", "scipy", "construct", "cryptography", "fastcrc", "pydantic", "yaml", "mcap", "serial", "asyncio",
    "benchsim.scale", "benchsim.link", "benchsim.host", "benchsim.bench", "benchsim.scenario",
)  # fmt: skip
ASK_FOR_HELP = """
import json, sys
from benchsim.cli.main import main
sys.argv = ["benchsim", *sys.argv[1:]]
try:
    main()
except SystemExit as end:
    code = end.code
print("\\n" + json.dumps([code or 0, sorted(sys.modules)]))
"""


def loaded_after(*words: str, folder: Path) -> set[str]:
    """The modules that are in memory after the command, which must end well."""
    command = [sys.executable, "-c", ASK_FOR_HELP, *words]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=60, cwd=folder)
    code, names = json.loads(done.stdout.splitlines()[-1])
    assert code == 0
    return set(names)


@pytest.mark.parametrize(
    "words",
    [("--help",), ("--version",), ("run", "--help"), ("serve", "--help"), ("calibrate", "--help")],
    ids=" ".join,
)
def test_help_loads_nothing_heavy(words: tuple[str, ...], tmp_path: Path) -> None:
    loaded = loaded_after(*words, folder=tmp_path)
    assert not [heavy for heavy in HEAVY if heavy in loaded]


def test_a_verb_that_needs_numbers_does_load_them(tmp_path: Path) -> None:
    assert "numpy" in loaded_after("faults", folder=tmp_path)
