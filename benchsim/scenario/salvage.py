"""What else is wrong with a file whose form is wrong: the rest of it, read without the parts that cannot be.

What cannot be read is taken out, or, where something must stand, put in a plain one's place; nothing is
said about those, nor about what depends on them (`Findings` sees to that).
"""

from __future__ import annotations

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
    for _ in range(ROUNDS):
        try:
            file = File.model_validate(values)
        except ValidationError as error:
            for each in error.errors(include_url=False):
                cut = _cut(each)
                unread.append(cut)
                values = _without(values, cut)
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


def _without(value: Any, way: Loc, top: str = "") -> Any:
    """A value without what is at the end of a way; a plain one stands there where one must."""
    step, *rest = way
    top = top or str(step)
    if isinstance(value, list) and isinstance(step, int) and step < len(value):
        new = _without(value[step], tuple(rest), top) if rest else _PLAIN[top]
        return [*value[:step], new, *value[step + 1 :]]
    if not isinstance(value, dict):
        return value
    if rest:
        return {k: _without(v, tuple(rest), top) if k == step else v for k, v in value.items()}
    kept = {k: v for k, v in value.items() if k != step}
    return kept | {step: _PLAIN[top]} if step in ("title", "scale") and top == step else kept
