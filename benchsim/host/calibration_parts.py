"""What a calibration is made of: settings, readings, the steps of the procedure, refusals.

Plain frozen values.  Masses are exact kilograms where people say them; counts are those of the converters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.errors import BadInput
from benchsim.ground.rounding import count_of_exact, is_scale_interval, shown
from benchsim.ground.units import mass_text
from benchsim.rules.profile import Profile
from benchsim.rules.tables import tolerance_d

MOST_SUBSTITUTIONS = 10
"""More of them carry so much error that nobody should.  Source: own choice."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What stood on the deck, as the converters saw it.

    counts: the mean of each cell.  spread: the standard deviation of one of the readings it is the mean of,
    each cell.  instants: how many independent readings that were.  stable: by the rules; reason: why not.
    """

    counts: tuple[float, ...]
    spread: tuple[float, ...]
    instants: int
    stable: bool
    reason: str = ""

    @property
    def variances(self) -> tuple[float, ...]:
        """Of each mean, in counts squared."""
        return tuple(s * s / self.instants for s in self.spread)


def reading_of(counts: NDArray[np.floating | np.integer], stable: bool, reason: str = "") -> Reading:
    """A reading from counts, (independent readings, cells); at least one reading."""
    table = np.asarray(counts, dtype=np.float64)
    many = len(table) > 1
    spread = table.std(axis=0, ddof=1) if many else np.zeros(table.shape[1])
    return Reading(tuple(table.mean(axis=0).tolist()), tuple(spread.tolist()), len(table), stable, reason)


@dataclass(frozen=True, slots=True)
class Settings:
    """One calibration.

    capacity_kg: Max.  interval_kg: d.  verification_interval_kg: e, None: it is d.
    groups: the cells (from 0) over which the test weight goes in turn: each cell, or each section.
    places: (node's address, channel) of each cell.  corner_kg: the test weight that goes over each group.
    weights_kg: all test weights at hand; what lies above them is built up by substitution.
    weight_class, piece_kg: accuracy class of R 111 and nominal mass of one test weight.
    sheet: kg a count of each cell by its data sheet, None when nothing is known of the cells.
    sheet_tolerance: how far a cell may lie from it, as a fraction.  Common practice, no source.
    points_kg: loads at which the error is told.  repeats: weighings that are compared.
    condition_limit: above it loads tell two groups apart too badly.  Source: own choice.
    group_limit_kg: the most that may stand over one group, None when not known.
    """

    capacity_kg: Decimal
    interval_kg: Decimal
    profile: Profile
    groups: tuple[tuple[int, ...], ...]
    places: tuple[tuple[int, int], ...]
    corner_kg: Decimal
    weights_kg: Decimal
    sheet: tuple[float, ...] | None = None
    points_kg: tuple[Decimal, ...] = ()
    repeats: int = 3
    weight_class: str = "M1"
    piece_kg: Decimal = Decimal(20)
    verification_interval_kg: Decimal | None = None
    sheet_tolerance: float = 0.0025
    condition_limit: float = 100.0
    group_limit_kg: Decimal | None = None

    @property
    def cells(self) -> int:
        return len(self.places)

    @property
    def e_kg(self) -> Decimal:
        return self.verification_interval_kg or self.interval_kg

    @property
    def counted_kg(self) -> Decimal:
        """What the limits of the profile count: d or e."""
        return self.e_kg if self.profile.limits_count_in == "e" else self.interval_kg

    @property
    def stage(self) -> str:
        """The strictest stage of the profile: a scale is to be verified after it was calibrated."""
        return min(self.profile.tolerance.stages, key=lambda stage: stage[1])[0]

    @property
    def repeat_stage(self) -> str:
        """The stage within which repeated weighings must agree; the strictest where it is "as tested"."""
        named = self.profile.tests.repeatability_stage
        return named if named in self.profile.stages else self.stage

    def tolerance_kg(self, load_kg: Decimal, stage: str = "") -> Decimal:
        """Largest error allowed at this load, at the strictest stage unless one is named.

        Source: R 76-1 3.5, HB 44 T.N.3, by way of the profile.
        """
        count = math.ceil(load_kg / self.counted_kg)
        if self.profile.n_max is not None:
            count = min(count, self.profile.n_max)
        return tolerance_d(count, self.profile, stage or self.stage) * self.counted_kg


def check(settings: Settings) -> None:
    """Raises BadInput for a calibration that cannot be."""
    _check_masses(settings)
    cells = sorted(cell for group in settings.groups for cell in group)
    if cells != list(range(settings.cells)):
        raise BadInput(f"groups of cells {cells}", f"each of the cells 0 to {settings.cells - 1} once")
    if len(set(settings.places)) != settings.cells:
        raise BadInput("two cells on one channel", "one cell a channel")
    if settings.sheet is None and len(settings.groups) != settings.cells:
        raise BadInput("sections without data-sheet figures", "how the cells of a section compare is needed")
    if settings.sheet is not None and not all(math.isfinite(k) and k > 0 for k in settings.sheet):
        raise BadInput("a data-sheet coefficient that is not positive", "kilograms a count above 0")
    if settings.repeats < 0 or settings.repeats == 1:
        raise BadInput(f"{settings.repeats} weighings to compare", "2 or more, or 0 for none")
    if settings.condition_limit <= 1.0:
        raise BadInput(f"a condition limit of {settings.condition_limit:g}", "more than 1")


def _check_masses(settings: Settings) -> None:
    if not is_scale_interval(settings.interval_kg):
        raise BadInput(f"an interval of {settings.interval_kg} kg", "1, 2 or 5 times a power of ten")
    loads = [("Max", settings.capacity_kg), ("the test weight", settings.corner_kg),
             ("all test weights together", settings.weights_kg)]  # fmt: skip
    for name, mass_kg in [*loads, *(("a linearity point", p) for p in settings.points_kg)]:
        if not mass_kg.is_finite() or not 0 < mass_kg <= settings.capacity_kg:
            right = f"more than 0 kg, at most Max, {mass_text(settings.capacity_kg)}"
            raise BadInput(f"{name}: {mass_text(mass_kg)}", right)
    if settings.corner_kg > settings.weights_kg:
        found = f"a test weight of {mass_text(settings.corner_kg)} over each place"
        raise BadInput(found, f"all test weights at hand are {mass_text(settings.weights_kg)}")
    limit_kg = settings.group_limit_kg
    if limit_kg is not None and settings.corner_kg > limit_kg:
        found = f"a test weight of {mass_text(settings.corner_kg)} over one place"
        raise BadInput(found, f"at most {mass_text(limit_kg)}: more can harm the cells there")
    substitutions = math.ceil(settings.capacity_kg / settings.weights_kg) - 1
    if substitutions > MOST_SUBSTITUTIONS:
        least_kg = settings.capacity_kg / (MOST_SUBSTITUTIONS + 1)
        found = f"test weights of {mass_text(settings.weights_kg)} for Max {mass_text(settings.capacity_kg)}"
        right = f"{mass_text(round(least_kg, 1))} or more: at most {MOST_SUBSTITUTIONS} substitutions"
        raise BadInput(found, right)


class Kind(StrEnum):
    """What a step is for."""

    ZERO = "zero"
    CORNER = "place by place"
    SPAN = "span"
    LINEARITY = "linearity"
    SUBSTITUTE = "substitution"
    REPEAT = "repeatability"


@dataclass(frozen=True, slots=True)
class Task:
    """One step.  load_kg: all that stands on the deck.  weights_kg: how much of it are test weights.

    group: over which group it stands, None: in the middle.  level: how many substitutions lie below it.
    """

    kind: Kind
    load_kg: Decimal = Decimal(0)
    weights_kg: Decimal = Decimal(0)
    group: int | None = None
    level: int = 0


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a step or a set cannot be taken, and what would be right.  Nothing is lost by it."""

    found: str
    right: str

    def __str__(self) -> str:
        return f"{self.found}; {self.right}"


def cells_text(cells: Sequence[int]) -> str:
    """Cells (from 0) for people: "cell 1", "cells 3 and 4"."""
    names = [str(cell + 1) for cell in cells]
    if len(names) == 1:
        return f"cell {names[0]}"
    return f"cells {', '.join(names[:-1])} and {names[-1]}"


def signed_kg(mass_kg: float, interval_kg: Decimal) -> str:
    """A difference for people, to a hundredth of d, with its sign and its unit."""
    text = weight_text(mass_kg, interval_kg)
    return text if mass_kg < 0 and text.startswith("-") else f"+{text.removeprefix('-')}"


def weight_text(mass_kg: float, interval_kg: Decimal) -> str:
    """A weight for people, to a hundredth of d, with its unit; it is no indication."""
    fine = interval_kg / 100
    return f"{shown(count_of_exact(Decimal(repr(mass_kg)), fine), fine)} kg"
