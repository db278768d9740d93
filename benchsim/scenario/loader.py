"""A scenario file found, read and checked for form: values, and where each of them stands.

All that is wrong with one file is told at once: where the form is wrong, with what else can be found wrong
with the rest.  What needs several values or another room to be judged is judged by build.py.
"""

from __future__ import annotations

import re
from pathlib import Path

from pydantic import ValidationError

from benchsim.ground.errors import BadInput, ManyBadInputs, nearest
from benchsim.ground.library import read_text, shipped
from benchsim.scenario.findings import Scenario, in_order
from benchsim.scenario.quantities import shorten
from benchsim.scenario.schema import MAX_SEED, File
from benchsim.scenario.text import MAX_BYTES, read
from benchsim.scenario.wording import errors_of


def find(path: str | Path) -> Path:
    """The file of that name; when there is none, the scenario of that bare name that came with benchsim."""
    path = Path(path)
    if path.name == str(path) and not _is_there(path):
        inside = shipped("scenarios") / f"{path.name.removesuffix('.yaml')}.yaml"
        return inside if _is_there(inside) else path
    return path


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # a name no file can have
        return False


def load(path: str | Path) -> Scenario:
    """Read a scenario file, or one that ships by its bare name.

    Raises BadInput or ManyBadInputs, each with file, line and column.
    """
    path = find(path)
    if not _is_there(path):
        raise _not_there(path)
    return load_text(read_text(path, MAX_BYTES), path)


def _not_there(path: Path) -> BadInput:
    close = nearest(path.stem, [p.stem for p in shipped("scenarios").glob("*.yaml")])
    hint = f"did you mean the shipped scenario {close!r}? " if close else ""
    return BadInput(f"{path}: No such file", f"{hint}`benchsim scenarios` lists those that ship")


def seed_of(word: str, name: str = "seed") -> int:
    """A seed from a command line, by the rule of the file's own: a whole number."""
    if not re.fullmatch("[0-9]{1,19}", word) or int(word) > MAX_SEED:
        raise BadInput(f"{name}: {shorten(word)} is not a seed", f"a whole number from 0 to {MAX_SEED}")
    return int(word)


def load_text(text: str, path: str | Path) -> Scenario:
    """The same for a text that was read already; path names it in errors."""
    path = Path(path)
    text = text.removeprefix("\ufeff")
    values, places = read(text, str(path))
    if not isinstance(values, dict):
        raise BadInput(f"{shorten(values)} is not a scenario", "write keys: title, scale, ...", places.of(()))
    try:
        return Scenario(path, text, File.model_validate(values), places)
    except ValidationError as error:
        from benchsim.scenario.salvage import rest_of

        form = list(errors_of(error, places))
        raise ManyBadInputs(in_order([*form, *rest_of(path, text, values, places)])) from None
