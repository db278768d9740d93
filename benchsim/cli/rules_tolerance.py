"""What `rules` says of tolerances: the steps of a profile as a table, and the answer for one load."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from math import ceil
from typing import TYPE_CHECKING, Any

from rich.text import Text

from benchsim.cli.text import console, facts, print_json, table
from benchsim.ground.errors import BadInput
from benchsim.ground.rounding import is_scale_interval, scale_intervals_near
from benchsim.ground.units import DIVISIONS, MASS, in_any_range, mass_text, parse
from benchsim.rules.kinds import digits
from benchsim.rules.tables import tolerance_d

if TYPE_CHECKING:
    from rich.table import Table

    from benchsim.rules.profile import Profile


@dataclass(frozen=True, slots=True)
class _Interval:
    """An interval as it was written: number and unit, and in kg."""

    written: Decimal
    unit: str

    @property
    def kg(self) -> Decimal:
        return self.written * MASS.factors[self.unit]

    def mass(self, count: Decimal) -> str:
        """So many of it: metric as people write it, else in the unit it was written in."""
        if self.unit == "lb":
            return f"{digits(count * self.written)} lb"
        return mass_text(count * self.kg)


def steps_of(profile: Profile) -> Table:
    """Tolerances by load, a column a stage; the last rows say how it goes on."""
    steps, unit = profile.tolerance, profile.limits_count_in
    made = table(f"load in {unit}", *profile.stages)
    start = 0
    for end, allowed in steps.bands:
        top = end if profile.n_max is None or (end or profile.n_max) < profile.n_max else profile.n_max
        made.add_row(
            _loads(start, top), *(f"{digits(allowed * factor)} {unit}" for _, factor in steps.stages)
        )
        start = (top or 0) + 1
    if steps.beyond is not None:
        every, more = steps.beyond
        for_each = f" more for each {digits(every)} or part of it"
        grows = (f"{digits(more * factor)} {unit}{for_each}" for _, factor in steps.stages)
        made.add_row(_loads(start, profile.n_max), *grows)
    if steps.at_most is not None:
        made.add_row("never above", *(f"{digits(steps.at_most * f)} {unit}" for _, f in steps.stages))
    return made


def _loads(start: int, top: int | None) -> str:
    return f"{digits(start)} on" if top is None else f"{digits(start)} to {digits(top)}"


def answer(profile: Profile, load: str, interval: str | None, as_json: bool) -> None:
    """The tolerance at one load, by every stage.  Raises BadInput."""
    step = None if interval is None else _interval(interval, profile)
    count = _load(load, step, profile)
    stages = {name: _tolerance(count, profile, name) for name in profile.stages}
    if as_json:
        print_json(_document(profile, count, step, stages))
        return
    unit = profile.limits_count_in
    bands, factors = profile.entry("bands"), profile.entry("stages")
    clauses = bands.clause if bands.clause == factors.clause else f"{bands.clause}; {factors.clause}"
    mark = bands.mark if bands.mark == factors.mark else f"{bands.mark}; {factors.mark}"
    rows = [("load", _both(count, unit, step))]
    rows += [(name, f"± {_both(allowed, unit, step)}") for name, allowed in stages.items()]
    out = console()
    out.print(Text.assemble((profile.name, "bold"), f"  {profile.title}"))
    out.print(facts([*rows, ("clause", clauses), ("mark", mark)]))
    if note := _below_min(profile, count, step):
        out.print(Text(note))


def _both(count: Decimal, unit: str, step: _Interval | None) -> str:
    told = f"{digits(count)} {unit}"
    return told if step is None else f"{told} = {step.mass(count)}"


def _document(
    profile: Profile, count: Decimal, step: _Interval | None, stages: dict[str, Decimal]
) -> dict[str, Any]:
    bands, factors = profile.entry("bands"), profile.entry("stages")

    def told(value: Decimal) -> dict[str, Any]:
        mass = {} if step is None else {"kg": float(value * step.kg)}
        return {"intervals": float(value), **mass}

    return {
        "profile": profile.name,
        "counts": profile.limits_count_in,
        "interval_kg": None if step is None else float(step.kg),
        "load": told(count),
        "tolerance": {name: told(allowed) for name, allowed in stages.items()},
        "clause": bands.clause,
        "mark": bands.mark,
        "stages_clause": factors.clause,
        "stages_mark": factors.mark,
        "below_min": bool(_below_min(profile, count, step)),
    }


def _interval(text: str, profile: Profile) -> _Interval:
    """1, 2 or 5 times a power of ten in the unit that it is written in, and not too small for the class."""
    try:
        kg = parse(text, MASS)
    except BadInput as error:
        raise BadInput(f"--interval: {error.found}", error.right) from None
    if kg <= 0:
        raise BadInput(f"--interval: {text} is not an interval", "write a positive one, as 10kg")
    unit = text.strip().lstrip("+-.0123456789eE_ ")
    step = _Interval(kg / MASS.factors[unit], unit)
    if not is_scale_interval(step.written):
        near = ", ".join(f"{digits(value)} {unit}" for value in scale_intervals_near(step.written))
        found = f"--interval: {text} is not 1, 2 or 5 times a power of ten"
        raise BadInput(found, f"nearest: {near} (HB 44 S.1.2)")
    least, clause = _least(profile, unit)
    if step.written < least:
        found = f"--interval: {text} is too small for class {profile.accuracy_class}"
        raise BadInput(found, f"at least {digits(least)} {unit} ({clause})")
    return step


def _least(profile: Profile, unit: str) -> tuple[Decimal, str]:
    """The smallest interval of the class in a unit, and its clause: pounds have a table of their own."""
    if unit == "lb" and profile.n_min_lb is not None:
        return profile.n_min_lb[0][0], profile.entry("n_min_lb").clause
    return profile.smallest_interval_kg / MASS.factors[unit], profile.entry("smallest_interval_kg").clause


def _load(text: str, step: _Interval | None, profile: Profile) -> Decimal:
    """The load in intervals, from "1250", "1250 d" or, where an interval is given, a mass."""
    try:
        count = _count(text.strip(), step, profile)
    except BadInput as error:
        raise BadInput(f"--tolerance: {error.found}", error.right) from None
    if not in_any_range(count) or count < 0:
        right = 'write one of 0 or above, as 1250 or "18.4 t"'
        raise BadInput(f"--tolerance: {text} is not a load", right)
    return count


def _count(word: str, step: _Interval | None, profile: Profile) -> Decimal:
    if re.fullmatch(r"[-+]?[\d_]*\.?\d*", word, re.ASCII) and re.search(r"\d", word):
        return Decimal(word.replace("_", ""))
    if re.fullmatch(r".*[\d.]\s*[de]", word):
        if not word.endswith(profile.limits_count_in):
            raise BadInput(f"{word!r} counts {word[-1]}", f"{profile.name} counts {profile.limits_count_in}")
        return parse(word, DIVISIONS)
    mass_kg = parse(word, MASS)
    if step is None:
        raise BadInput(f"{word} without an interval to count it in", "add one, as --interval 10kg")
    return mass_kg / step.kg


def _tolerance(count: Decimal, profile: Profile, stage: str) -> Decimal:
    """Of a load between two counts it is that of the higher: a band holds up to its end (Table 6: "<=")."""
    try:
        return tolerance_d(ceil(count), profile, stage)
    except BadInput as error:
        raise BadInput(f"--tolerance: {error.found}", error.right) from None


def _below_min(profile: Profile, count: Decimal, step: _Interval | None) -> str:
    """A word of warning for a load that should not be weighed there."""
    least = profile.min_load_d if step is None else profile.min_load_of(step.kg)
    if count >= least:
        return ""
    clause = profile.entry("min_load_d" if least == profile.min_load_d else "min_load_coarse").clause
    told = f"{digits(least)} {profile.limits_count_in}"
    return f"Below {told}, the smallest load that should be weighed: {clause}."
