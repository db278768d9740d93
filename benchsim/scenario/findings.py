"""A scenario as it was read, and what is wrong with it beyond its form, gathered so that all is told at once.

Where the form itself is wrong, what can be read is judged all the same; then what depends on a part that
could not be read is in doubt, and nothing is said of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchsim.ground.errors import BadInput, ManyBadInputs
from benchsim.scenario.schema import File
from benchsim.scenario.text import Loc, Places

_EQUIPMENT = ("scale", "cells", "nodes")
_ON_EQUIPMENT = ("site", "host", "link")
_ABOUT_EQUIPMENT = ("position", "stop", "lane", "axles", "on", "pair", "release", "recommission")


@dataclass(frozen=True, slots=True)
class Scenario:
    """One file, read.  text: as it stood.  file: its values.  places: where they stand."""

    path: Path
    text: str
    file: File
    places: Places


_ALONE = ("fault", "ask")
"""What can be judged in an item of the timeline of which something else could not be read."""


class Findings:
    """What is wrong, each with its place.  unread: the ways to what could not be read."""

    def __init__(self, places: Places, unread: Iterable[Loc] = ()) -> None:
        self.places = places
        self._unread = frozenset(unread)
        self._unread_keys = {loc[0] for loc in self._unread}
        self._unread_items = {loc[:2] for loc in self._unread if len(loc) > 1}
        self._found: list[tuple[Loc, BadInput]] = []

    @property
    def errors(self) -> list[BadInput]:
        """In the order of the file."""
        return in_order(error for _, error in self._found)

    def sure(self, *keys: str) -> bool:
        """Whether all that stands under these keys of the file could be read."""
        return self._unread_keys.isdisjoint(keys)

    def clean(self, *keys: str) -> bool:
        """Whether it could be read, and nothing is wrong with it so far."""
        return self.sure(*keys) and not any(loc[:1] == (key,) for key in keys for loc, _ in self._found)

    def add(self, loc: Loc, found: str, right: str = "", key: bool = False) -> None:
        """One more.  loc: the way to the value (or to what is around it)."""
        self.take(loc, BadInput(found, right, self.places.of(loc, key)))

    def take(self, loc: Loc, error: BadInput) -> None:
        """The same for an error; it gets the place of loc when it has none."""
        if not self._doubtful(loc):
            self._found.append((loc, error.at(self.places.of(loc))))

    def _doubtful(self, loc: Loc) -> bool:
        """Whether a finding may come from what could not be read, and not from the file."""
        if any(loc[:length] in self._unread for length in range(1, len(loc) + 1)):
            return True
        if loc[0] == "timeline" and loc[:2] in self._unread_items:
            return loc[-1] not in _ALONE
        if loc == ("scale", "interval"):
            return not self.sure("scale", "rules")
        about = loc[0] in (*_EQUIPMENT, *_ON_EQUIPMENT) or loc[-1] in _ABOUT_EQUIPMENT
        return about and not self.sure(*_EQUIPMENT, str(loc[0]) if loc[0] in _ON_EQUIPMENT else "")

    @contextmanager
    def at(self, loc: Loc) -> Iterator[None]:
        """Whatever BadInput comes out of the block belongs here, and the rest goes on."""
        try:
            yield
        except BadInput as error:
            self.take(loc, error)
        except ManyBadInputs as many:
            for each in many.errors:
                self.take(loc, each)

    def tell(self) -> None:
        """Raises ManyBadInputs when there are any."""
        if self._found:
            raise ManyBadInputs(self.errors)


def in_order(errors: Iterable[BadInput]) -> list[BadInput]:
    """Errors in the order of a file's lines."""
    return sorted(errors, key=lambda e: (e.place.line, e.place.column) if e.place else (0, 0))
