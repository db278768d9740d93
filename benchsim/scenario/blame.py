"""Where in the file something stands that another room has refused.

The scale's room names the part and its field ("cell 3, e_max_kg: ..."); the bench names loads and faults.
What cannot be found more closely is blamed on the nearest thing around it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from benchsim.ground.errors import BadInput
from benchsim.ground.units import mass_text
from benchsim.scale.parts import ScaleParts
from benchsim.scale.receptor import dead_shares_kg
from benchsim.scale.validate import check, check_new
from benchsim.scenario.layout import SAFE_LOAD, dead_load_of, needed_capacity
from benchsim.scenario.schema import CellFigures, File, Part, Receptor, Site
from benchsim.scenario.text import Loc, Places
from benchsim.scenario.timeline import Told

_PART = re.compile(
    r"(?P<part>cell|wiring|station|support|receptor|site)(?: (?P<number>\d+))?(?:, (?P<field>\w+))?"
)
_FIELDS = {"e_max_kg": "capacity", "safe_load": "safe load limit"}


def judge(parts: ScaleParts, file: File, places: Places) -> None:
    """Raises BadInput, with its place, for a scale that cannot be."""
    try:
        check(parts)
        check_new(parts)
        _check_dead_load(parts)
        _check_capacity(parts, file)
    except BadInput as error:
        raise placed(error, file, places) from None


def placed(error: BadInput, file: File, places: Places) -> BadInput:
    """What the scale's room has refused, in the file's words and with its place."""
    loc = place_of_part(error.found, file)
    match = _PART.match(error.found)
    found = error.found
    if match and match["field"] and match["field"] != "supports" and isinstance(loc[-1], str) and loc[-1]:
        found = found.replace(match["field"], loc[-1], 1)
    return BadInput(found, error.right).at(places.of(loc))


def _check_dead_load(parts: ScaleParts) -> None:
    """No cell may be overloaded before anything stands on the scale."""
    shares_kg = dead_shares_kg(parts.receptor)
    for number, (cell, share_kg) in enumerate(zip(parts.cells, shares_kg, strict=True), 1):
        if share_kg > cell.e_max_kg:
            dead, most = mass_text(round(share_kg, 3)), mass_text(cell.e_max_kg)
            raise BadInput(
                f"cell {number}, e_max_kg: the dead load alone is {dead} on a cell of {most}",
                "larger cells, or less dead load",
            )


def _check_capacity(parts: ScaleParts, file: File) -> None:
    """Cells that dead load and Max would break are no scale; a scenario may still overload a good one."""
    count = len(parts.cells)
    each = (file.scale.capacity + dead_load_of(file)) / count
    for number, cell in enumerate(parts.cells, 1):
        if each > SAFE_LOAD * Decimal(str(cell.e_max_kg)):
            raise BadInput(
                f"cell {number}, e_max_kg: {mass_text(cell.e_max_kg)}, but dead load and Max come to "
                f"{mass_text(round(float(each), 3))} a cell",
                f"at least {mass_text(round(float(needed_capacity(file, count)), 3))} "
                "(R 76-1 annex F: E_max >= Q x Max x R/N)",
            )


def place_of_part(found: str, file: File) -> Loc:
    """The way to the key that a message of the scale's room is about."""
    match = _PART.match(found)
    if match is None:
        return ("scale",)
    part, field, number = match["part"], match["field"] or "", int(match["number"] or 0)
    if part in ("cell", "wiring"):
        own = next((i for i, each in enumerate(file.cells.each) if each.cell == number), None)
        key = _key(CellFigures, field)
        if own is not None and key in _given(file.cells.each[own]):
            return ("cells", "each", own, key)
        return ("cells", key) if key else ("cells",)
    if part == "support":
        return ("cells", "at", number - 1) if file.cells.at else ("scale", "receptor")
    if part == "station":
        return ("nodes", "each", number - 1) if file.nodes.each else ("nodes",)
    if part == "site":
        return ("site", _key(Site, field))
    if field == "supports" and file.cells.at:
        return ("cells", "at")
    return ("scale", "receptor", _key(Receptor, field))


def place_of_command(error: BadInput, told: Sequence[Told], now_us: int) -> Loc:
    """The item of the timeline that a room has refused at now_us."""
    due = [t for t in told if t.t_us == now_us]
    named = [t for t in due if any(name in error.found for name in _names(t.command))]
    return (named or due)[0].loc if due else ("timeline",)


def _key(model: type[Part], field: str) -> str:
    """The file's key for a part's field: "natural frequency" for natural_frequency_hz."""
    if field in _FIELDS:
        return _FIELDS[field]
    fields = model.model_fields.items()
    return next((f.alias or n for n, f in fields if field == n or field.startswith(f"{n}_")), "")


def _given(part: Part) -> set[str]:
    return {type(part).model_fields[name].alias or name for name in part.model_fields_set}


def _names(command: object) -> list[str]:
    """What a command calls the thing it is about, as a room's error would say it."""
    values = (getattr(command, attribute, None) for attribute in ("name", "key", "fault"))
    return [value for value in values if isinstance(value, str)]
