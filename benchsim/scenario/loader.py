"""A scenario file read and checked for form: values, and where each of them stands.

All that is wrong with the form of one file is told at once.  What needs several values or another room to
be judged (17 cells, a cell off the deck, an unknown fault) is judged by build.py, which uses `Findings`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from benchsim.ground.errors import BadInput, ManyBadInputs, nearest
from benchsim.ground.library import read_text, shipped
from benchsim.scenario.quantities import shorten
from benchsim.scenario.schema import MAX_SEED, File
from benchsim.scenario.text import MAX_BYTES, Loc, Places, read
from benchsim.scenario.wording import errors_of


@dataclass(frozen=True, slots=True)
class Scenario:
    """One file, read.  text: as it stood.  file: its values.  places: where they stand."""

    path: Path
    text: str
    file: File
    places: Places


def find(path: str | Path) -> Path:
    """The file of that name; when there is none, the scenario of that bare name that came with benchsim."""
    path = Path(path)
    if path.name == str(path) and not path.exists():
        inside = shipped("scenarios") / f"{path.name.removesuffix('.yaml')}.yaml"
        return inside if inside.is_file() else path
    return path


def load(path: str | Path) -> Scenario:
    """Read a scenario file, or one that ships by its bare name.

    Raises BadInput or ManyBadInputs, each with file, line and column.
    """
    path = find(path)
    if not path.exists():
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
        raise ManyBadInputs(errors_of(error, places)) from None


class Findings:
    """What is wrong with a scenario beyond its form, gathered so that all of it is told at once."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self.errors: list[BadInput] = []

    def add(self, loc: Loc, found: str, right: str = "", key: bool = False) -> None:
        """One more.  loc: the way to the value (or to what is around it)."""
        self.errors.append(BadInput(found, right, self.places.of(loc, key)))

    @contextmanager
    def at(self, loc: Loc) -> Iterator[None]:
        """Whatever BadInput comes out of the block belongs here, and the rest goes on."""
        try:
            yield
        except BadInput as error:
            self.errors.append(error.at(self.places.of(loc)))
        except ManyBadInputs as errors:
            self.errors.extend(e.at(self.places.of(loc)) for e in errors.errors)

    def tell(self) -> None:
        """Raises ManyBadInputs when there are any."""
        if self.errors:
            raise ManyBadInputs(
                sorted(self.errors, key=lambda e: (e.place.line, e.place.column) if e.place else (0, 0))
            )
