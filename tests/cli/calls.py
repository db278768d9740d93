"""One call of the command line, in this process: exit code, stdout, stderr."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from benchsim.cli.main import main

HEAD = "title: t\nscale: {capacity: 3 t, interval: 1 kg}\n"
GOOD = HEAD + (
    "timeline: [{at: 3 s, place: 1 t, name: block}]\n"
    "checks: [at 8 s gross is 1 t within 0 d, at 2 s motion is off]\n"
)
FAILING = HEAD + "checks: [at 2 s gross is 1 t within 0 d]\n"
UNCHECKED = HEAD + "lasts: 2 s\n"
BAD = HEAD + "sead: 7\n"


@dataclass(frozen=True)
class Done:
    code: int
    out: str
    err: str


class Call:
    """call("run", "x.yaml") -> Done.  An error that escapes escapes here, too."""

    def __init__(self, capture: pytest.CaptureFixture[str]) -> None:
        self._capture = capture

    def __call__(self, *words: str) -> Done:
        with pytest.raises(SystemExit) as ended:
            main(words)
        out, err = self._capture.readouterr()
        return Done(int(ended.value.code or 0), out, err)
