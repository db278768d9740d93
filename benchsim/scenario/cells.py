"""A scenario's cells: from the figures of a data sheet, of all cells and of one, to the scale's parts.

A figure of one cell wins over the figure of all, and a figure that is given over what is typical for the
accuracy class; what nothing gives is the part's own default.
"""

from __future__ import annotations

from typing import Any

from benchsim.ground.errors import BadInput
from benchsim.scale.parts import Cell, Wiring
from benchsim.scale.sheet import DEFAULT_P_LC, Sheet, creep_terms, recovery, typical
from benchsim.scenario import schema
from benchsim.scenario.findings import Findings
from benchsim.scenario.layout import cell_capacity
from benchsim.scenario.text import Loc

# What says something only within an accuracy class, by the key.
_OF_A_CLASS = ("intervals", "apportionment", "v_min", "y", "dead_load_return", "z")
# The same quantity in two forms.
_TWO_FORMS = (("v_min", "y"), ("dead_load_return", "z"), ("creep", "creep_after_30_min"))
_KEY_OF = {
    "intervals": ("intervals",), "p_LC": ("apportionment",), "v_min": ("v_min", "y"),
    "dead load output return": ("dead_load_return", "z"),
}  # fmt: skip


def pick(name: str, *figures: Any) -> Any:
    """The first of the mappings' figures of that name that is given; None when none is."""
    return next((v for f in figures if (v := getattr(f, name, None)) is not None), None)


# What is wrong, by its place and what was found.
Wrong = dict[tuple[Loc, str], BadInput]


def cells_of(file: schema.File, count: int, findings: Findings) -> tuple[Cell, ...]:
    """The cells of the scale.  What is wrong with the figures of all is told once."""
    wrong: Wrong = {}
    cells = tuple(_cell(file, count, number, wrong) for number in range(1, count + 1))
    for (loc, _), error in wrong.items():
        findings.take(loc, error)
    return cells


def _cell(file: schema.File, count: int, number: int, wrong: Wrong) -> Cell:
    levels = _levels(file, number)
    parts = [part for part, _ in levels]
    capacity = pick("capacity", *parts)
    e_max_kg = float(cell_capacity(file, count) if capacity is None else capacity)
    base = _of_its_class(levels, e_max_kg, number, wrong)

    def figure(name: str, default: float) -> float:
        value = pick(name, *parts)
        return default if value is None else float(value)

    creep = _creep(parts, base)
    safe = pick("safe_load_limit", *parts)
    thermal_us = pick("thermal_time_constant", *parts)
    return Cell(
        e_max_kg=e_max_kg,
        rated_output_mv_per_v=figure("rated_output", base.rated_output_mv_per_v),
        zero_balance_mv_per_v=figure("zero_balance", base.zero_balance_mv_per_v),
        nonlinearity=figure("nonlinearity", base.nonlinearity),
        hysteresis=figure("hysteresis", base.hysteresis),
        creep=creep,
        recovery=_recovery(parts, base, creep, e_max_kg),
        repeatability=figure("repeatability", base.repeatability),
        zero_effect_per_k=figure("zero_effect", base.zero_effect_per_k),
        span_effect_per_k=figure("span_effect", base.span_effect_per_k),
        thermal_time_constant_s=base.thermal_time_constant_s if thermal_us is None else thermal_us / 1e6,
        safe_load=base.safe_load if safe is None else float(safe) / e_max_kg,
        overload_set=figure("overload_set", base.overload_set),
        input_resistance_ohm=figure("input_resistance", base.input_resistance_ohm),
        output_resistance_ohm=figure("output_resistance", base.output_resistance_ohm),
    )


def wiring_of(file: schema.File, number: int) -> Wiring:
    """The way of a cell to its terminals, number from 1."""
    parts = [part for part, _ in _levels(file, number)]
    resistance, sensed = pick("lead_resistance", *parts), pick("sensed", *parts)
    return Wiring(
        lead_resistance_ohm=0.0 if resistance is None else float(resistance),
        sensed=True if sensed is None else sensed,
    )


Levels = list[tuple[schema.CellFigures, Loc]]


def _levels(file: schema.File, number: int) -> Levels:
    """The figures that are about a cell, its own first, with their place in the file."""
    own: Levels = [
        (each, ("cells", "each", index)) for index, each in enumerate(file.cells.each) if each.cell == number
    ]
    return [*own[-1:], (file.cells, ("cells",))]


def _creep(parts: list[schema.CellFigures], base: Cell) -> tuple[tuple[float, float], ...]:
    """From the first that says something of it: terms, or what has come after 30 min."""
    for part in parts:
        if part.creep is not None:
            return tuple((float(term.share), term.time_constant / 1e6) for term in part.creep)
        if part.creep_after_30_min is not None:
            return creep_terms(float(part.creep_after_30_min))
    return base.creep


def _recovery(
    parts: list[schema.CellFigures], base: Cell, creep: tuple[tuple[float, float], ...], e_max_kg: float
) -> float:
    """Half of a declared return, as a typical cell has it, whatever the cell creeps."""
    return_kg = _return_kg(parts, e_max_kg)
    if return_kg is None or creep == base.creep:
        return base.recovery
    return recovery(creep, 0.5 * return_kg / e_max_kg)


def _v_min_kg(parts: list[schema.CellFigures], e_max_kg: float) -> float | None:
    for part in parts:
        if part.v_min is not None or part.y is not None:
            return float(part.v_min) if part.v_min is not None else e_max_kg / float(part.y or 1.0)
    return None


def _return_kg(parts: list[schema.CellFigures], e_max_kg: float) -> float | None:
    for part in parts:
        given = part.dead_load_return
        if given is not None or part.z is not None:
            return float(given) if given is not None else e_max_kg / (2.0 * float(part.z or 1.0))
    return None


def _of_its_class(levels: Levels, e_max_kg: float, number: int, wrong: Wrong) -> Cell:
    """A typical cell of the class that is named; one without errors where none is."""

    def add(loc: Loc, error: BadInput) -> None:
        wrong.setdefault((loc, error.found), error)

    for part, loc in levels:
        for one, other in _TWO_FORMS:
            if getattr(part, one) is not None and getattr(part, other) is not None:
                add((*loc, _words(other)), BadInput(f"{_words(one)} and {_words(other)}", "one of the two"))
    parts = [part for part, _ in levels]
    accuracy_class, intervals = pick("accuracy_class", *parts), pick("intervals", *parts)
    if accuracy_class is None:
        for name in _OF_A_CLASS:
            if pick(name, *parts) is not None:
                found = f"{_words(name)} without an accuracy class"
                add(_place(levels, name), BadInput(found, "accuracy class: C"))
        return Cell(e_max_kg)
    if intervals is None:
        found = f"accuracy class {accuracy_class} without intervals"
        add(_place(levels, "accuracy_class"), BadInput(found, "intervals: 3000"))
        return Cell(e_max_kg)
    p_lc = pick("apportionment", *parts)
    sheet = Sheet(
        e_max_kg, accuracy_class, intervals, DEFAULT_P_LC if p_lc is None else p_lc,
        _v_min_kg(parts, e_max_kg), _return_kg(parts, e_max_kg),
    )  # fmt: skip
    try:
        return typical(sheet, number - 1)
    except BadInput as error:
        names = next(
            (n for begin, n in _KEY_OF.items() if error.found.startswith(begin)), ("accuracy_class",)
        )
        add(_place(levels, *names), error)
        return Cell(e_max_kg)


def _place(levels: Levels, *names: str) -> Loc:
    """Where the first of these figures is given, or what is around it."""
    for part, loc in levels:
        for name in names:
            if getattr(part, name) is not None:
                return (*loc, _words(name))
    return levels[-1][1]


def _words(name: str) -> str:
    return name.replace("_", " ")
