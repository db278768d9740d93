"""What else is wrong with a file whose form is wrong: the rest of it, read without the parts that cannot be.

What cannot be read is taken out, or, where something must stand, put in a plain one's place; nothing is
said about those, nor about what depends on them (`Findings` sees to that).
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from benchsim.ground.errors import BadInput
from benchsim.scenario.build import judged
from benchsim.scenario.findings import Findings, Scenario
from benchsim.scenario.schema import File
from benchsim.scenario.text import Loc, Places
from benchsim.scenario.wording import way_of

ROUNDS = 8
"""Each takes out what the one before has left without something it needs; the format is not deeper."""
_PLAIN: dict[str, Any] = {
    "title": "unread",
    "scale": {"capacity": "3 t", "interval": "1 kg"},
    "timeline": {"at": "0 s", "command": "zero"},
    "checks": "always gross is valid",
    "outputs": "scp0499",
}
_LISTS = ("timeline", "checks", "outputs")


def rest_of(path: Path, text: str, values: dict[str, Any], places: Places) -> list[BadInput]:
    """All that can be found wrong beside the form."""
    unread: list[Loc] = []
    values = copy.deepcopy(values)
    for _ in range(ROUNDS):
        try:
            file = File.model_validate(values)
        except ValidationError as error:
            for each in error.errors(include_url=False):
                cut = _cut(each)
                unread.append(cut)
                _take_out(values, cut)
        else:
            findings = Findings(places, unread)
            judged(Scenario(path, text, file, places), findings)
            return findings.errors
    return []


def _cut(error: Mapping[str, Any]) -> Loc:
    """The way to what is taken out for an error: a key, or a whole item of the lists whose items stand alone.

    Items of other lists need one another, so such a list goes as a whole.
    """
    loc, _ = way_of(error["loc"])
    if error["type"] == "missing" and len(loc) > 1:
        loc = loc[:-1]
    first = 2 if loc[0] in _LISTS else 0
    inner = next((i for i, step in enumerate(loc) if i >= first and isinstance(step, int)), len(loc))
    return loc[:inner]


def _take_out(values: dict[str, Any], way: Loc) -> None:
    """Take out what is at the end of a way; a plain one stands there where one must."""
    *outer, last = way
    inner: Any = values
    for step in outer:
        inside = isinstance(inner, dict) and step in inner
        inside = inside or (isinstance(inner, list) and isinstance(step, int) and step < len(inner))
        if not inside:
            return
        inner = inner[step]
    if isinstance(inner, list) and isinstance(last, int) and last < len(inner):
        inner[last] = copy.copy(_PLAIN[str(way[0])])
    elif isinstance(inner, dict):
        inner.pop(last, None)
        if not outer and last in ("title", "scale"):
            inner[last] = copy.copy(_PLAIN[last])
