"""The text of a rule profile, and of those it builds on, to checked values; all that is wrong, told at once.

A profile builds on another by `base = "name"` or the path of a file: what it does not say itself stands
there.  Each value comes whole, with its clause and mark, from the nearest file that has it, and that file is
named in errors about it.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchsim.ground.errors import BadInput, ManyBadInputs, Place, unknown
from benchsim.ground.library import profiles_folder, read_text
from benchsim.rules.kinds import NO_LIMIT
from benchsim.rules.places import Places, parse_error_place
from benchsim.rules.schema import AS_TESTED, COUNTED, HEAD, KEY_OF, KEYS, MARKS, SECTIONS, Key, read_value

BASE = "base"
ENTRY_PARTS = ("value", "clause", "mark")
DEEPEST = 10
LARGEST = 10**18
MOST_BYTES = 200_000
MOST_ERRORS = 50


@dataclass(frozen=True, slots=True)
class Entry:
    """One value of a profile with its source.

    key: its name, "zero.zero_setting_range".  value: as the file has it, numbers as int or Decimal.
    clause: where the standard says it.  mark: how it is known (one of MARKS).  what, unit: in words.
    shown: the value with its unit for people.  there: False where the class has none.  file: where it stands.
    """

    key: str
    value: Any
    clause: str
    mark: str
    what: str
    unit: str
    shown: str
    there: bool
    file: str

    @property
    def section(self) -> str:
        return self.key.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Found:
    """All that a profile says.  values: by key, None where the class has none.  files: its own first."""

    head: dict[str, str]
    values: dict[str, Any]
    entries: tuple[Entry, ...]
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Layer:
    """One file of the chain."""

    file: str
    tree: dict[str, Any]
    places: Places


def names() -> tuple[str, ...]:
    """The shipped profiles, in alphabetical order."""
    return tuple(sorted(path.stem for path in profiles_folder().glob("*.toml")))


def path_of(word: str, folder: Path, what: str) -> Path:
    """The file of a profile: one that ships, by name, or the path of one from a folder.  Raises BadInput."""
    if word in names():
        return profiles_folder() / f"{word}.toml"
    if not word.endswith(".toml") or not word.isprintable():
        raise unknown(what, word, [*names(), "the path of a .toml file"])
    return folder / word


def text_of(path: Path) -> str:
    """A profile's text.  Raises BadInput as read_text does."""
    return read_text(path, MOST_BYTES)


def read(text: str, file: str) -> Found:
    """A profile from the text of its file.  Raises BadInput: not TOML, no such base; ManyBadInputs."""
    return _Reader(list(_layers(text, file))).found()


def _layers(text: str, file: str) -> Iterator[_Layer]:
    """A file and those it builds on, one behind the other."""
    chain: list[str] = []
    while True:
        layer = _Layer(file, _tree(text, file), Places(text, file))
        chain.append(os.path.realpath(file))
        yield layer
        word = layer.tree.get(BASE)
        if word is None:
            return
        here = layer.places.of(BASE)
        if not isinstance(word, str) or not word.strip():
            raise BadInput(f"{BASE}: {word!r} is not a text", f'write {BASE} = "{names()[0]}"', here)
        try:
            path = path_of(word, Path(file).parent, "rule profile to build on")
            if (real := os.path.realpath(path)) in chain:
                ring = " on ".join(Path(f).name for f in [*chain[chain.index(real) :], real])
                raise BadInput(f"{ring}: that goes round in circles", f"take one {BASE} away")
            text, file = text_of(path), str(path)
        except BadInput as error:
            raise BadInput(f"{BASE}: {error.found}", error.right, here) from None


def _tree(text: str, file: str) -> dict[str, Any]:
    """The values of a TOML text: no number that no limit can have, nothing nested deeper than it can be."""
    try:
        tree = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        where, what = parse_error_place(error, file)
        raise BadInput(f"not TOML: {what}", "write key = value lines below [section] lines", where) from None
    except (ValueError, ArithmeticError):
        raise BadInput("a number beyond any range", "write limits as a standard does", Place(file)) from None
    except RecursionError:
        raise BadInput("values nested too deep", f"at most {DEEPEST} levels", Place(file)) from None
    inside: list[tuple[Any, int]] = [(tree, 0)]
    while inside:
        value, depth = inside.pop()
        if isinstance(value, int) and abs(value) > LARGEST:
            raise BadInput("a number beyond any range", f"at most {LARGEST}", Place(file))
        if depth > DEEPEST:
            raise BadInput("values nested too deep", f"at most {DEEPEST} levels", Place(file))
        children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        inside += ((child, depth + 1) for child in children)
    return tree


class _Reader:
    """A chain of files being read; gathers the errors of all before it raises."""

    def __init__(self, layers: list[_Layer]) -> None:
        self.layers = layers
        self.errors: list[BadInput] = []
        self.values: dict[str, Any] = {}
        self.entries: dict[Key, Entry] = {}
        self.stands: dict[str, _Layer] = {}

    def found(self) -> Found:
        for layer in self.layers:
            self.read_layer(layer)
        head = {word: self.head(word) for word in HEAD}
        for key in KEYS:
            if key.name not in self.stands:
                self.missing(key)
        self.judge()
        if self.errors:
            raise ManyBadInputs(self.in_order())
        counted = self.values["limits_count_in"]
        entries = tuple(_counting(self.entries[key], key, counted) for key in KEYS if key in self.entries)
        return Found(head, self.values, entries, tuple(layer.file for layer in self.layers))

    def wrong(self, layer: _Layer, error: BadInput, *path: str) -> None:
        self.errors.append(error.at(layer.places.of(*path)))
        if len(self.errors) == MOST_ERRORS:
            raise ManyBadInputs(self.errors)

    def in_order(self) -> list[BadInput]:
        """The errors as they stand in the files, nearest first."""
        files = [layer.file for layer in self.layers]
        places = [(files.index(e.place.file), e.place.line, e.place.column) for e in self.errors if e.place]
        return [self.errors[i] for i in sorted(range(len(places)), key=places.__getitem__)]

    def head(self, word: str) -> str:
        """A word of the head.  A title is each file's own: with another limit it is another rule set."""
        layers = self.layers[:1] if word == "title" else self.layers
        layer = next((one for one in layers if word in one.tree), layers[0])
        value = layer.tree.get(word)
        if not isinstance(value, str) or not value.strip():
            found = f"{word} is missing" if value is None else f"{word}: {value!r} is not a text"
            self.wrong(layer, BadInput(found, f'write {word} = "..." at the top of the file'), word)
            return ""
        return value

    def read_layer(self, layer: _Layer) -> None:
        for word, table in layer.tree.items():
            if word in SECTIONS:
                self.read_section(layer, word, table)
            elif word != BASE and word not in HEAD:
                self.wrong(layer, unknown("section or key", word, [BASE, *HEAD, *SECTIONS]), word)

    def read_section(self, layer: _Layer, section: str, table: Any) -> None:
        if not isinstance(table, dict):
            self.wrong(layer, BadInput(f"{section} is not a section", f"write [{section}]"), section)
            return
        for word, entry in table.items():
            key = KEY_OF.get((section, word))
            if key is None:
                allowed = [name for where, name in KEY_OF if where == section]
                self.wrong(layer, unknown(f"key in [{section}]", word, allowed), section, word)
            else:
                self.read_entry(layer, key, entry)

    def read_entry(self, layer: _Layer, key: Key, entry: Any) -> None:
        path = (key.section, key.name)
        nearest = key.name not in self.stands
        if nearest:
            self.stands[key.name] = layer
            self.values[key.name] = None
        if not isinstance(entry, dict) or "value" not in entry:
            self.wrong(
                layer, BadInput(f"{key.name} has no value with its clause", f"write {key.example()}"), *path
            )
            return
        for word in entry:
            if word not in ENTRY_PARTS:
                self.wrong(layer, unknown(f"part of {key.name}", word, ENTRY_PARTS), *path, word)
        self.check_source(layer, key, entry)
        raw = entry["value"]
        try:
            value = read_value(key, raw)
        except BadInput as error:
            self.wrong(layer, error, *path, "value")
            return
        if nearest:
            name, source = ".".join(path), (str(entry.get("clause", "")), str(entry.get("mark", "")))
            self.values[key.name] = value
            self.entries[key] = Entry(
                name, raw, *source, key.what, key.unit, "", value is not None, layer.file
            )

    def check_source(self, layer: _Layer, key: Key, entry: dict[str, Any]) -> None:
        path = (key.section, key.name)
        clause, mark = entry.get("clause"), entry.get("mark")
        if not isinstance(clause, str) or not clause.strip():
            right = 'write clause = "...": where the standard says it'
            self.wrong(layer, BadInput(f"{key.name} has no clause", right), *path)
        if mark is None:
            right = f"write mark = one of {', '.join(MARKS)}"
            self.wrong(layer, BadInput(f"{key.name} has no mark", right), *path)
        elif mark not in MARKS:
            self.wrong(layer, unknown(f"mark of {key.name}", str(mark), MARKS), *path, "mark")

    def missing(self, key: Key) -> None:
        self.values[key.name] = None
        if not key.optional:
            found = f"{key.name} is missing in [{key.section}]"
            self.wrong(self.layers[0], BadInput(found, f"write {key.example()}"), key.section)

    # -- what needs more than one value ----------------------------------------------------------------

    def judge(self) -> None:
        """What single values cannot show; only where they could all be read."""
        if self.errors:
            return
        self.judge_counts()
        self.judge_steps()
        stages = [name for name, _ in self.values["stages"]]
        for name in ("repeatability_stage", "eccentricity_stage"):
            word = self.values[name]
            if word is not None and word not in (AS_TESTED, *stages):
                self.against(unknown("stage", word, [AS_TESTED, *stages]), name, "stages")
        least_most = self.values["fraction_range"]
        if least_most is not None and least_most[0] > least_most[1]:
            found = f"the share {least_most[0]} is above {least_most[1]}"
            self.against(BadInput(found, "write the smaller one first"), "fraction_range")

    def judge_counts(self) -> None:
        n_max = self.values["n_max"]
        coarse = self.values["n_min_coarse"]
        for name, least in (("n_min", self.values["n_min"]), ("n_min_coarse", coarse and coarse[1])):
            if least is not None and n_max is not None and least > n_max:
                found = f"{name} {least} is above n_max {n_max}"
                self.against(BadInput(found, f"write the smaller one as {name}"), name, "n_max")

    def judge_steps(self) -> None:
        """Every load up to n_max has a tolerance, and the steps end somewhere."""
        n_max, bands = self.values["n_max"], self.values["bands"]
        last, beyond = bands[-1][0], self.values["beyond"]
        if beyond is not None and last is None:
            found = "the last step has no end, so nothing lies beyond it"
            self.against(BadInput(found, "end the last step, or leave beyond out"), "beyond", "bands")
        elif beyond is not None and n_max is None and self.values["at_most"] is None:
            found = "the tolerance grows on without an end, since n_max has no limit"
            self.against(BadInput(found, "write at_most, or a number as n_max"), "beyond", "n_max", "at_most")
        elif beyond is None and last is not None and (n_max is None or n_max > last):
            up_to = "on, without an end" if n_max is None else f"to n_max {n_max}"
            found = f"no tolerance from {last + 1} {up_to}"
            right = f'end the last step at n_max or with "{NO_LIMIT}", or write beyond'
            self.against(BadInput(found, right), "bands", "n_max", "beyond")

    def against(self, error: BadInput, *names: str) -> None:
        """An error about values that do not go together, at the one in the nearest file."""
        order = [name for layer in self.layers for name in names if self.stands.get(name) is layer]
        section = next(key.section for key in KEYS if key.name == order[0])
        self.wrong(self.stands[order[0]], error, section, order[0], "value")


def _counting(entry: Entry, key: Key, counted: str) -> Entry:
    """An entry with its unit and its words, once it is known what limits count."""
    unit = counted if entry.unit == COUNTED else entry.unit
    value = read_value(key, entry.value)
    shown = key.absent if value is None else key.kind.tell(value, unit).strip()
    return replace(entry, unit=unit, shown=shown)
