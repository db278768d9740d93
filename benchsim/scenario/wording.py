"""What the format's checker found, in the house's words: place, what was found, what would be right.

The nearest known key is named; a key that is missing only because it was misspelt is told once.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from benchsim.ground.errors import BadInput, nearest
from benchsim.scenario.findings import in_order
from benchsim.scenario.quantities import shorten
from benchsim.scenario.schema import File
from benchsim.scenario.story import ITEMS
from benchsim.scenario.text import Loc, Places

_KINDS = {
    "string_type": "a text; put it in quotes",
    "int_type": "a whole number without a unit",
    "list_type": "a list, as [a, b] or with a dash before each item",
    "dict_type": "a mapping of keys and values",
    "model_type": "a mapping of keys and values",
    "model_attributes_type": "a mapping of keys and values",
}
_BOUNDS = {
    "greater_than_equal": ("is too small", "at least {ge}"),
    "less_than_equal": ("is too large", "at most {le}"),
    "too_short": ("is too short", "at least {min_length}"),
    "too_long": ("has too many items", "at most {max_length}"),
    "string_too_short": ("is too short", "at least {min_length} characters"),
    "string_too_long": ("is too long", "at most {max_length} characters"),
}


def errors_of(error: ValidationError, places: Places) -> Iterator[BadInput]:
    """Each thing that is wrong, in the order of the file's lines."""
    found = [_Finding(dict(e), places) for e in error.errors(include_url=False)]
    misspelt = {(f.loc[:-1], f.suggestion) for f in found if f.type == "extra_forbidden"}
    kept = [f for f in found if f.type != "missing" or (f.loc[:-1], str(f.loc[-1])) not in misspelt]
    yield from in_order(f.bad_input() for f in kept)


class _Finding:
    """One error of the checker."""

    def __init__(self, error: Mapping[str, Any], places: Places) -> None:
        self.type: str = error["type"]
        self.input = error["input"]
        self.ctx: dict[str, Any] = error.get("ctx", {})
        self.loc, self.model = way_of(error["loc"])
        self.places = places
        self.suggestion = ""
        if self.type == "extra_forbidden":
            self.suggestion = nearest(str(self.loc[-1]), _keys(self.model))

    def bad_input(self) -> BadInput:
        if self.type == "extra_forbidden":
            return self._unknown_key()
        if self.type == "missing":
            around = f" of {name}" if (name := _name(self.loc[:-1])) else ""
            place = self.places.of(self.loc[:-1], key=True)
            return BadInput(f"the key {self.loc[-1]!r}{around} is missing", self._description(), place)
        if self.input is None or self.input == "":
            return self._empty()
        found, right = self._words()
        within = tuple(self.ctx.get("within", ()))
        return BadInput(f"{_name(self.loc)}: {found}", right, self.places.of(self.loc + within))

    def _empty(self) -> BadInput:
        """Nothing stands where something should."""
        _, right = self._words()
        return BadInput(f"{_name(self.loc)} is empty", right, self.places.of(self.loc))

    def _second_action(self) -> BadInput:
        first = next(verb for verb, model in ITEMS.items() if model is self.model)
        place = self.places.of(self.loc, key=True)
        return BadInput(
            f"both {first!r} and {str(self.loc[-1])!r}", "one action an item: write two items", place
        )

    def _unknown_key(self) -> BadInput:
        if self.loc[0] == "timeline" and len(self.loc) == 3 and self.loc[-1] in ITEMS:
            return self._second_action()
        keys = _keys(self.model)
        right = f"did you mean {self.suggestion!r}? " if self.suggestion else ""
        if not self.suggestion or len(keys) <= 8:
            right += "known here: " + ", ".join(keys)
        place = self.places.of(self.loc, key=True)
        return BadInput(f"unknown key {str(self.loc[-1])!r}", right.strip(), place)

    def _description(self) -> str:
        for field in self.model.model_fields.values() if self.model else ():
            if field.alias == self.loc[-1] and field.description:
                return f"write it: {field.description}"
        return "write it"

    def _words(self) -> tuple[str, str]:
        ctx, shown = self.ctx, shorten(self.input)
        if self.type == "found":
            return ctx["found"], ctx["right"]
        if self.type.startswith("union_tag"):
            return _no_action(self.input)
        if self.type == "literal_error":
            return _not_among(self.input, str(ctx["expected"]))
        if self.type == "string_pattern_mismatch":
            return f"{shown} is not understood", _examples(ctx["pattern"])
        if self.type in _KINDS:
            return f"{shown} is not what stands here", f"write {_KINDS[self.type]}"
        if self.type in _BOUNDS:
            what, right = _BOUNDS[self.type]
            return f"{shown} {what}", right.format(**ctx).replace(" 1 characters", " 1 character")
        return f"{shown}: {self.type.replace('_', ' ')}", ""


def _not_among(found: Any, expected: str) -> tuple[str, str]:
    """A word that is none of the allowed ones.  expected: the checker's list of them."""
    allowed = [w.strip("' ") for w in expected.replace(" or ", ", ").split(",")]
    close = nearest(str(found), allowed)
    hint = f"did you mean {close!r}? " if close else ""
    return f"{shorten(found)} is not known here", f"{hint}known: {', '.join(allowed)}"


def _examples(pattern: str) -> str:
    """What a pattern of the format wants, for people."""
    known = {"cell|node": "all, cell 3 or node 2", r"all|address": "all or address 2", "address": "address 2"}
    return "write " + next((v for k, v in known.items() if k in pattern), f"a text of the form {pattern}")


def _no_action(item: Any) -> tuple[str, str]:
    """An item of the timeline of which no key is an action."""
    if not isinstance(item, dict):
        return f"{shorten(item)} is not an item of a timeline", "write {at: 5 s, place: 2 t, name: block}"
    for key in item:
        close = nearest(str(key), ITEMS)
        if close and key != "at":
            return f"unknown key {str(key)!r}", f"did you mean {close!r}?"
    return "this item does nothing", "add one of: " + ", ".join(ITEMS)


def _name(loc: Loc) -> str:
    """The last key on the way to a value, with the number in a list behind it (from 1)."""
    numbers: list[str] = []
    for step in reversed(loc):
        if isinstance(step, str):
            return " ".join([step, *numbers])
        numbers.insert(0, str(step + 1))
    return ""


def _keys(model: type[BaseModel] | None) -> list[str]:
    return [f.alias or n for n, f in model.model_fields.items()] if model else []


def way_of(loc: Loc) -> tuple[Loc, type[BaseModel] | None]:
    """The checker's way to a value as the file's own, and the class of the mapping that the value is in.

    The checker puts the kind of a timeline's item after the item's number; the file has no such step.
    """
    if len(loc) > 2 and loc[0] == "timeline" and loc[2] in ITEMS:
        model: type[BaseModel] | None = ITEMS[str(loc[2])]
        rest, clean = loc[3:], loc[:2]
    else:
        model, rest, clean = File, loc, ()
    owner = model
    for step in rest:
        clean = (*clean, step)
        if isinstance(step, str):
            owner, model = model, _model_at(model, step)
    return clean, owner if rest else model


def _model_at(model: type[BaseModel] | None, key: str) -> type[BaseModel] | None:
    """The class of the mapping (or of the items of the list) under a key."""
    field = next((f for f in model.model_fields.values() if f.alias == key), None) if model else None
    return next(_models_in(field.annotation), None) if field else None


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models_in(inner)
