"""Fuzzes one target with atheris: `python -m tests.fuzz.one NAME [options of libFuzzer] FOLDER|FILE ...`.

With files instead of folders it replays them.  `make fuzz` runs all targets in turn by this.
"""

from __future__ import annotations

import sys

import atheris

atheris.enabled_hooks.add("str")
with atheris.instrument_imports(include=["benchsim", "mcap"]):
    from tests.fuzz.targets import TARGETS

if __name__ == "__main__":
    name = sys.argv.pop(1)
    atheris.Setup(sys.argv, TARGETS[name].run)
    atheris.Fuzz()
