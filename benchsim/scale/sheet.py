"""A load cell's data sheet, in the terms of OIML R 60, to a cell with typical figures within its class.

The class says what a cell may do at most; a typical one does about half of it, each cell a little otherwise.
Clauses are those of OIML R 60-1:2021.  What share of a limit is typical is our own choice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchsim.ground.errors import BadInput, unknown
from benchsim.scale.parts import Cell
from benchsim.scale.recursion import rounded

DEFAULT_P_LC = 0.7
P_LC = (0.3, 0.8)  # 5.3.2


@dataclass(frozen=True, slots=True)
class AccuracyClass:
    """What R 60 says of a class.

    n_LC (5.1.2), the steps of its error envelope in v (5.3.2), and over how many kelvin the minimum dead
    load output may move by p_LC v_min (5.6.1.3).
    """

    least_intervals: int
    most_intervals: int | None
    steps_v: tuple[int, int]
    per_k: float

    def envelope_v(self, load_v: float) -> float:
        """Largest error at a load, both in v, before p_LC: 0.5, 1.0 or 1.5."""
        return 0.5 + 0.5 * sum(load_v > step for step in self.steps_v)


CLASSES = {
    "A": AccuracyClass(50_000, None, (50_000, 200_000), 2.0),
    "B": AccuracyClass(5_000, 100_000, (5_000, 20_000), 5.0),
    "C": AccuracyClass(500, 10_000, (500, 2_000), 5.0),
    "D": AccuracyClass(100, 1_000, (50, 200), 5.0),
}


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a data sheet says of a cell by its class.

    e_max_kg: E_max.  intervals: n_LC.  p_lc: apportionment factor.  v_min_kg: smallest verification interval;
    None: as large as v.  return_kg: minimum dead load output return DR; None: what the class allows.
    """

    e_max_kg: float
    accuracy_class: str
    intervals: int
    p_lc: float = DEFAULT_P_LC
    v_min_kg: float | None = None
    return_kg: float | None = None

    @property
    def v_kg(self) -> float:
        """The verification interval v = E_max / n_LC."""
        return self.e_max_kg / self.intervals

    @property
    def smallest_kg(self) -> float:
        """v_min."""
        return self.v_kg if self.v_min_kg is None else self.v_min_kg


def check_sheet(sheet: Sheet) -> None:
    """Raises BadInput for what no cell of the class can say."""
    if sheet.accuracy_class not in CLASSES:
        raise unknown("accuracy class", sheet.accuracy_class, CLASSES)
    accuracy = CLASSES[sheet.accuracy_class]
    most = accuracy.most_intervals
    if not accuracy.least_intervals <= sheet.intervals <= (math.inf if most is None else most):
        right = f"{accuracy.least_intervals} {'or more' if most is None else f'to {most}'} in class"
        raise BadInput(f"intervals: {sheet.intervals}", f"{right} {sheet.accuracy_class} (OIML R 60-1 5.1.2)")
    if not P_LC[0] <= sheet.p_lc <= P_LC[1]:
        raise BadInput(f"p_LC: {sheet.p_lc:g}", f"{P_LC[0]:g} to {P_LC[1]:g} (OIML R 60-1 5.3.2)")
    if not 0.0 < sheet.smallest_kg <= sheet.v_kg * (1.0 + 1e-9):
        raise BadInput(
            f"v_min: {sheet.smallest_kg:g} kg", f"above 0 and at most v = E_max / n_LC, {sheet.v_kg:g} kg"
        )
    if sheet.return_kg is not None and not 0.0 < sheet.return_kg <= 0.5 * sheet.v_kg * (1.0 + 1e-9):
        raise BadInput(
            f"dead load output return: {sheet.return_kg:g} kg",
            f"above 0 and at most 0.5 v, {0.5 * sheet.v_kg:g} kg (OIML R 60-1 5.5.2)",
        )


# Shares of a limit that a typical cell takes: of the envelope, the creep, DR, the temperature effect on zero.
_BEND, _LOOP, _SPAN, _SEAT, _CREEP, _RETURN, _ZERO = 0.3, 0.3, 0.25, 0.03, 0.6, 0.5, 0.5
# One cell is not like the next: factors for bend, loop, span effect, zero effect, creep, over and over.
_VARIETY = (
    (1.0, 1.0, 0.6, 0.8, 1.0),
    (-0.6, 0.7, -0.9, -1.0, 0.6),
    (0.4, 0.9, 1.0, 0.5, -0.5),
    (-0.9, 0.5, -0.4, -0.6, 0.8),
)
# The widest step from the reference temperature in the usual range of -10 to +40 C (5.6.1).
_WIDEST_K = 30.0
# Creep in two terms: shares and time constants in s.
_TERMS = ((1.0 / 3.0, 60.0), (2.0 / 3.0, 900.0))
_HALF_HOUR_S = 1800.0
# When the output is read after unloading (R 60-2, 2.8.3: 10 to 90 s by capacity).
_READ_S = 60.0
_THERMAL_S = 1800.0
_OVERLOAD_SET = 0.1


def typical(sheet: Sheet, number: int = 0) -> Cell:
    """A cell that is within its class with all it does.  number: of the cell, from 0, for the variety.

    Raises BadInput: see check_sheet.
    """
    check_sheet(sheet)
    accuracy, n = CLASSES[sheet.accuracy_class], sheet.intervals
    bend, loop, span, zero, creep = _VARIETY[number % len(_VARIETY)]
    top = accuracy.envelope_v(n)
    envelope = sheet.p_lc * top / n  # of rated output
    # 5.5.1: 0.7 of the envelope, in which p_LC is always 0.7.
    terms = creep_terms(_CREEP * creep * 0.7 * DEFAULT_P_LC * top / n)
    return Cell(
        sheet.e_max_kg,
        nonlinearity=rounded(_BEND * bend * envelope),
        hysteresis=rounded(_LOOP * loop * envelope),
        creep=terms,
        recovery=_recovery(sheet, terms),
        repeatability=rounded(_SEAT * envelope),
        zero_effect_per_k=rounded(
            _ZERO * zero * sheet.p_lc * sheet.smallest_kg / sheet.e_max_kg / accuracy.per_k
        ),
        span_effect_per_k=rounded(_SPAN * span * envelope / _WIDEST_K),
        thermal_time_constant_s=_THERMAL_S,
        overload_set=_OVERLOAD_SET,
    )


def creep_terms(in_30_min: float) -> tuple[tuple[float, float], ...]:
    """Terms of which so much of the load's output has come 30 min after it was put on, all at once."""
    come = sum(share * -math.expm1(-_HALF_HOUR_S / tau) for share, tau in _TERMS)
    return tuple((rounded(in_30_min * share / come), tau) for share, tau in _TERMS)


def _recovery(sheet: Sheet, terms: tuple[tuple[float, float], ...]) -> float:
    """So that half of the declared DR is left when it is read; 1 where none is declared."""
    if sheet.return_kg is None:
        return 1.0
    return recovery(terms, _RETURN * sheet.return_kg / sheet.e_max_kg)


def recovery(terms: tuple[tuple[float, float], ...], left: float) -> float:
    """Recovery with which so much of E_max's output is left, as a size, a minute after 30 min of it.

    1 where nothing creeps.
    """
    crept = abs(sum(a * -math.expm1(-_HALF_HOUR_S / tau) * math.exp(-_READ_S / tau) for a, tau in terms))
    return rounded(min(left / crept, 10.0)) if crept > 1e-12 else 1.0
