"""A rule profile: the limits of one standard for one class and kind, each with its clause and its mark.

A profile is one TOML file; a user's own is a path to one, and gets the same errors.  Code asks a Profile
for a limit and never writes one down; what a value may be stands in schema.py.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchsim.ground.errors import BadInput, ManyBadInputs, Place, unknown
from benchsim.ground.library import profiles_folder, read_text
from benchsim.rules.places import parse_error_place, place_of
from benchsim.rules.schema import COUNTED, HEAD, KEYS, MARKS, SECTIONS, Key

ENTRY_PARTS = ("value", "clause", "mark")
DEEPEST = 10
LARGEST = 10**18
_TIMES = ("stable_for", "late_after", "oldest", "zero_tracking_after")


@dataclass(frozen=True, slots=True)
class Entry:
    """One value of a profile with its source.

    key: its name, "zero.zero_setting_range".  value: as the file has it, numbers as int or Decimal.
    clause: where the standard says it.  mark: how it is known (one of MARKS).  what, unit: in words.
    """

    key: str
    value: Any
    clause: str
    mark: str
    what: str
    unit: str


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Steps of tolerance by load.

    bands: (largest load of the band, tolerance), rising, in counts of d or e.  beyond: behind the last
    band, so much more for each further so many or part of it; None: no load is allowed there.
    at_most: the tolerance never grows above this.  stages: name to factor.
    """

    bands: tuple[tuple[int, Decimal], ...]
    beyond: tuple[int, Decimal] | None
    at_most: Decimal | None
    stages: tuple[tuple[str, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Profile:
    """The limits in force.  A suffix _d counts d or e, as limits_count_in says; zero-tracking counts d.

    min_load_d: below it a weight is shown all the same (R 76-1 T.3.1.2: it may only be far off); it is
    told to people and stops nothing.
    settled_within_d: the newer half of the stretch that must be stable may lie so far from the older one.
    late_after_us, oldest_us: how far samples may be late beyond a frame's filling, and how old the newest
    instant of a weight may be, for the weight to count as stable.
    zero_setting_range, initial_zero_range: fraction of Max, each way.
    zero_tracking_after_us, zero_tracking_rest_d: it acts when the weight has moved no more in that time.
    zero_while_net: "refused", or "clears tare".  largest_tare: fraction of Max.
    smallest_interval_kg: of the class.  n_min_coarse: from this interval in kg on, so many intervals at
    least.
    overload: the largest gross shown is capacity * overload_percent / 100 + overload_divisions.
    """

    name: str
    title: str
    standard: str
    accuracy_class: str
    kind: str
    limits_count_in: str
    smallest_interval_kg: Decimal
    n_min: int
    n_min_coarse: tuple[Decimal, int] | None
    n_max: int
    min_load_d: int
    motion_band_d: Decimal
    stable_for_us: int
    settled_within_d: Decimal
    late_after_us: int
    oldest_us: int
    centre_of_zero_d: Decimal
    zero_when_stable: bool
    zero_setting_range: Decimal
    initial_zero_range: Decimal
    zero_tracking_window_d: Decimal
    zero_tracking_at_zero_only: bool
    zero_tracking_rate_d_per_s: Decimal
    zero_tracking_after_us: int
    zero_tracking_rest_d: Decimal
    zero_while_net: str
    overload_percent: Decimal
    overload_divisions: int
    underload_d: int
    tare_when_stable: bool
    tare_above_zero_only: bool
    largest_tare: Decimal
    record_when_stable: bool
    record_below_zero: bool
    tolerance: Tolerance
    entries: tuple[Entry, ...]

    def n_min_of(self, interval_kg: Decimal) -> int:
        """The fewest intervals up to Max that a scale of this interval may have."""
        if self.n_min_coarse is not None and interval_kg >= self.n_min_coarse[0]:
            return self.n_min_coarse[1]
        return self.n_min

    def overload_limit_d(self, capacity_d: int, counted_d: Decimal = Decimal(1)) -> int:
        """The largest gross, in counts of d, that may be shown.  counted_d: what limits count, in d."""
        divisions_d = self.overload_divisions * counted_d
        return int(capacity_d * self.overload_percent / 100 + divisions_d)

    @property
    def stages(self) -> tuple[str, ...]:
        """Names of the stages that tolerances are asked for."""
        return tuple(name for name, _ in self.tolerance.stages)

    def entry(self, key: str) -> Entry:
        """One value with its clause, by its name with or without the section.  BadInput: no such value."""
        for entry in self.entries:
            if key in (entry.key, entry.key.partition(".")[2]):
                return entry
        raise unknown("value", key, [e.key for e in self.entries])


def profile_names() -> tuple[str, ...]:
    """The shipped profiles, in alphabetical order."""
    return tuple(sorted(path.stem for path in profiles_folder().glob("*.toml")))


def load_profile(name_or_path: str) -> Profile:
    """A shipped profile by name, or the user's own by the path of its file.

    Raises BadInput: no such name or file, not TOML; ManyBadInputs: all that is wrong inside the file.
    """
    path = profiles_folder() / f"{name_or_path}.toml"
    if name_or_path not in profile_names():
        path = Path(name_or_path)
        if path.suffix != ".toml":
            raise unknown("rule profile", name_or_path, [*profile_names(), "the path of a .toml file"])
    return read_profile(read_text(path), path.stem, str(path))


def read_profile(text: str, name: str, file: str) -> Profile:
    """A profile from the text of its file.  file: what errors call it.  Raises as load_profile."""
    return _Reader(_tree(text, file), text, file).profile(name)


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
    """One file being read; gathers every error before it raises."""

    def __init__(self, tree: dict[str, Any], text: str, file: str) -> None:
        self.tree, self.text, self.file = tree, text, file
        self.errors: list[BadInput] = []
        self.entries: list[Entry] = []

    def profile(self, name: str) -> Profile:
        for word in self.tree:
            if word not in HEAD and word not in SECTIONS:
                self.wrong(unknown("section or key", word, [*HEAD, *SECTIONS]), word)
        head = {word: self.head(word) for word in HEAD}
        values = {key.name: self.section_value(key) for key in KEYS}
        for section in SECTIONS:
            self.check_words(section)
        n_min, n_max = values["n_min"], values["n_max"]
        if n_min is not None and n_max is not None and n_min > n_max:
            found = f"n_min {n_min} is above n_max {n_max}"
            self.wrong(BadInput(found, "write the smaller one as n_min"), "intervals", "n_min", "value")
        if self.errors:
            raise ManyBadInputs(self.errors)
        counted = values["limits_count_in"]
        entries = tuple(replace(e, unit=counted) if e.unit == COUNTED else e for e in self.entries)
        return _profile(name, head, values, entries)

    def wrong(self, error: BadInput, *path: str) -> None:
        self.errors.append(error.at(place_of(self.text, self.file, path)))

    def head(self, word: str) -> str:
        value = self.tree.get(word)
        if not isinstance(value, str) or not value.strip():
            found = f"{word} is missing" if value is None else f"{word}: {value!r} is not a text"
            self.wrong(BadInput(found, f'write {word} = "..." at the top of the file'), word)
            return ""
        return value

    def check_words(self, section: str) -> None:
        table = self.tree.get(section)
        if table is not None and not isinstance(table, dict):
            self.wrong(BadInput(f"{section} is not a section", f"write [{section}]"), section)
            return
        allowed = [key.name for key in KEYS if key.section == section]
        for word in table or {}:
            if word not in allowed:
                self.wrong(unknown(f"key in [{section}]", word, allowed), section, word)

    def section_value(self, key: Key) -> Any:
        table = self.tree.get(key.section)
        if not isinstance(table, dict) or key.name not in table:
            if not key.optional:
                self.wrong(
                    BadInput(f"{key.name} is missing in [{key.section}]", f"write {key.example()}"),
                    key.section,
                )
            return None
        entry = table[key.name]
        path = (key.section, key.name)
        if not isinstance(entry, dict) or "value" not in entry:
            self.wrong(BadInput(f"{key.name} has no value with its clause", f"write {key.example()}"), *path)
            return None
        for word in entry:
            if word not in ENTRY_PARTS:
                self.wrong(unknown(f"part of {key.name}", word, ENTRY_PARTS), *path, word)
        self.check_source(key, entry)
        try:
            value = key.read(entry["value"])
        except BadInput as error:
            self.wrong(error, *path, "value")
            return None
        source = (str(entry.get("clause", "")), str(entry.get("mark", "")))
        self.entries.append(Entry(f"{key.section}.{key.name}", entry["value"], *source, key.what, key.unit))
        return value

    def check_source(self, key: Key, entry: dict[str, Any]) -> None:
        clause = entry.get("clause")
        if not isinstance(clause, str) or not clause.strip():
            self.wrong(
                BadInput(f"{key.name} has no clause", 'write clause = "...": where the standard says it'),
                key.section,
                key.name,
            )
        mark = entry.get("mark")
        if mark is None:
            right = f"write mark = one of {', '.join(MARKS)}"
            self.wrong(BadInput(f"{key.name} has no mark", right), key.section, key.name)
        elif mark not in MARKS:
            self.wrong(unknown(f"mark of {key.name}", str(mark), MARKS), key.section, key.name, "mark")


def _profile(name: str, head: dict[str, str], values: dict[str, Any], entries: tuple[Entry, ...]) -> Profile:
    tolerance = Tolerance(
        bands=values.pop("bands"),
        beyond=values.pop("beyond"),
        at_most=values.pop("at_most"),
        stages=values.pop("stages"),
    )
    times_us = {f"{word}_us": 1000 * values.pop(f"{word}_ms") for word in _TIMES}
    return Profile(
        name=name,
        title=head["title"],
        standard=head["standard"],
        accuracy_class=head["class"],
        kind=head["kind"],
        tolerance=tolerance,
        entries=entries,
        **times_us,
        **values,
    )
