"""Loads placed in turn to one coefficient a cell: weighted least squares, or the reason why not.

On a stiff deck a load's shares lie in at most three dimensions wherever it stands, so more cells than three
can never be told apart by loads alone.  What the loads do not tell stays as the data sheet has it, and how
much weight hangs on that is worked out; without a data sheet such a set is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.units import mass_text
from benchsim.host.calibration_parts import Refusal, Settings, cells_text, signed_kg

Floats = NDArray[np.float64]

FLOOR_D = 0.05  # what no model of a scale keeps better, beside the noise; own choice
UNANSWERED = 0.005  # of a load: what a cell must take of one of them at least; own choice
FALLS = 0.02  # of a load: what a loaded cell may fall at most; own choice
FAR_FROM_SHEET = 0.25  # of one: no cell that works lies so far from its data sheet; own choice
SHEET_SHARE = Decimal(1) / Decimal(3)  # of the tolerance may hang on data sheets; own choice, as R 76-1 3.7.1


@dataclass(frozen=True, slots=True)
class Placement:
    """One load and what it changed.  group: over which, None: in the middle.

    change, variances: counts above the empty deck, and the variance of the mean, each cell.  zero: which
    reading of the empty deck it is counted from; zero_variances: of that.
    """

    load_kg: Decimal
    group: int | None
    change: tuple[float, ...]
    variances: tuple[float, ...]
    zero: int
    zero_variances: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """What came of it.

    kg_per_count: of each cell.  factors: of each group, over the data sheet (1 when there is none to
    compare with).  errors: standard error of each factor from the loads, times the Birge ratio where that is
    above 1.  sheet_errors: what data sheets leave open of each factor, as a standard uncertainty.
    residual_kg: indicated less applied, each placement; allowed_kg: the limit of each.
    condition: of all groups; told: how many combinations of them the loads tell apart, condition_told: of
    those.  freedom: placements less told.  birge: root of chi squared over freedom, None without freedom.
    sheet_kg: the most of a load that can hang on data sheets, all factors off the worst way.
    suspect: the placement that fits least with all others, None where too few are to tell.
    """

    kg_per_count: tuple[float, ...]
    factors: tuple[float, ...]
    errors: tuple[float, ...]
    sheet_errors: tuple[float, ...]
    residual_kg: tuple[float, ...]
    allowed_kg: tuple[Decimal, ...]
    condition: float
    condition_told: float
    told: int
    freedom: int
    birge: float | None
    sheet_kg: float
    suspect: int | None
    notes: tuple[str, ...]


def solve(placements: Sequence[Placement], settings: Settings) -> tuple[Solution | None, Refusal | None]:
    """The solution, as far as there is one, and why it must not be used, if so."""
    groups = settings.groups
    if len(placements) < len(groups):
        found = f"{len(placements)} placements for {len(groups)} coefficients"
        return None, Refusal(found, "place the test weight over each of them at least once")
    start = _start(placements, settings)
    if not np.isfinite(start).all():
        return None, Refusal("no cell answered to any load", "look for power, cables and the right scale")
    changed = np.array([p.change for p in placements])
    by_cell = changed * start
    if (refusal := _silent(by_cell, placements)) or (refusal := _falling(by_cell, placements, settings)):
        return None, refusal
    design = np.stack([by_cell[:, list(group)].sum(axis=1) for group in groups], axis=1)
    solution = _solution(design, placements, settings, start)
    if isinstance(solution, Refusal):
        return None, solution
    return solution, _judged(solution, placements, settings)


def _start(placements: Sequence[Placement], settings: Settings) -> Floats:
    """Coefficients to begin with: the data sheet's, else one for all that fits on the whole."""
    if settings.sheet is not None:
        return np.array(settings.sheet)
    loads = sum(float(p.load_kg) for p in placements)
    moved = sum(abs(c) for p in placements for c in p.change)
    return np.full(settings.cells, loads / moved if moved else math.nan)


def _solution(
    design: Floats, placements: Sequence[Placement], settings: Settings, start: Floats
) -> Solution | Refusal:
    """design: kg by the starting coefficients, (placements, groups)."""
    loads = np.array([float(p.load_kg) for p in placements])
    base = np.ones(len(settings.groups)) if settings.sheet is not None else np.zeros(len(settings.groups))
    root: Floats = np.asarray(np.linalg.cholesky(_covariance(placements, start, settings)), np.float64)
    left, singular, right = np.linalg.svd(np.linalg.solve(root, design), full_matrices=False)
    told = int((singular > singular[0] / settings.condition_limit).sum())
    condition = float(singular[0] / singular[-1]) if singular[-1] else math.inf
    if settings.sheet is None and told < len(base):
        return _not_apart(right[told:], condition, settings)
    wanted = np.linalg.solve(root, loads - design @ base)
    factors = base + right[:told].T @ ((left.T @ wanted)[:told] / singular[:told])
    residual = design @ factors - loads
    freedom = len(loads) - told
    chi = float(np.linalg.norm(np.linalg.solve(root, residual)))
    birge = chi / math.sqrt(freedom) if freedom else None
    errors = np.sqrt(((right[:told] / singular[:told, None]) ** 2).sum(axis=0)) * max(1.0, birge or 0.0)
    open_part = np.sqrt((right[told:] ** 2).sum(axis=0)) * settings.sheet_tolerance / math.sqrt(3.0)
    hangs = np.abs(design @ right[told:].T @ right[told:]).sum(axis=1) * settings.sheet_tolerance
    spread_out = np.empty(settings.cells)
    for group, factor in zip(settings.groups, factors.tolist(), strict=True):
        spread_out[list(group)] = factor
    known = settings.sheet is not None
    scaled = 1.0 if known else 1.0 / factors
    return Solution(
        kg_per_count=tuple((start * spread_out).tolist()),
        factors=tuple((factors * scaled).tolist()),
        errors=tuple(np.abs(errors * scaled).tolist()),
        sheet_errors=tuple(open_part.tolist()),
        residual_kg=tuple(residual.tolist()),
        allowed_kg=tuple(settings.tolerance_kg(p.load_kg) for p in placements),
        condition=condition,
        condition_told=float(singular[0] / singular[told - 1]),
        told=told,
        freedom=freedom,
        birge=birge,
        sheet_kg=float(hangs.max()),
        suspect=_suspect(root, left[:, :told], residual) if freedom > 1 else None,
        notes=_notes(factors, settings) if known else (),
    )


def _covariance(placements: Sequence[Placement], start: Floats, settings: Settings) -> Floats:
    """Of the weights read, in kg squared: each has noise of its own, and shares that of its empty deck."""
    squared = start * start
    floor = (FLOOR_D * float(settings.interval_kg)) ** 2
    own = np.array([p.variances for p in placements]) @ squared + floor
    shared = np.array([p.zero_variances for p in placements]) @ squared
    zeros = np.array([p.zero for p in placements])
    same = zeros[:, None] == zeros[None, :]
    return np.asarray(np.diag(own) + same * np.sqrt(np.outer(shared, shared)), dtype=np.float64)


# -- why a set is refused ------------------------------------------------------------------------------


def _silent(by_cell: Floats, placements: Sequence[Placement]) -> Refusal | None:
    loads = np.array([float(p.load_kg) for p in placements])
    takes = np.abs(by_cell / loads[:, None]).max(axis=0)
    silent = np.flatnonzero(takes < UNANSWERED).tolist()
    if not silent:
        return None
    found = f"{cells_text(silent)} never took part of any load"
    return Refusal(found, "put the test weight over it, or look for a dead cell, its plug and its channel")


def _falling(by_cell: Floats, placements: Sequence[Placement], settings: Settings) -> Refusal | None:
    for placement, row in zip(placements, by_cell, strict=True):
        cells = settings.groups[placement.group] if placement.group is not None else ()
        for cell in cells:
            if row[cell] < -FALLS * float(placement.load_kg):
                found = (
                    f"negative coefficient: the counts of cell {cell + 1} fall under a load"
                    f" {place_text(placement.group, settings)}"
                )
                right = "look for a crossed SIG or EXC pair, or a cell mounted upside down"
                return Refusal(found, right)
    return None


def _not_apart(open_ways: Floats, condition: float, settings: Settings) -> Refusal:
    """open_ways: combinations of groups that change no weight read, one a row."""
    weight = np.abs(open_ways[-1])
    taking_part = np.flatnonzero(weight > 0.3 * weight.max()).tolist()
    cells = [cell for group in taking_part for cell in settings.groups[group]]
    many = f"{condition:.3g}" if condition < 1e12 else "beyond any figure"
    found = (
        f"condition number {many}, above {settings.condition_limit:g}: the loads do not tell"
        f" {cells_text(cells)} apart"
    )
    right = "place each right over its cell; on a stiff deck give data-sheet figures, to hold for the rest"
    return Refusal(found, right)


def _judged(solution: Solution, placements: Sequence[Placement], settings: Settings) -> Refusal | None:
    for group, factor in zip(settings.groups, solution.factors, strict=True):
        first = solution.kg_per_count[group[0]]
        if first <= 0.0:
            found = f"negative coefficient: {cells_text(group)} at {first:.6g} kg a count"
            return Refusal(found, "look for crossed pairs, and for a weight that stood over another place")
        if abs(factor - 1.0) > FAR_FROM_SHEET:
            found = f"{cells_text(group)} at {factor:.4f} of the data sheet"
            right = (
                f"within {FAR_FROM_SHEET:.0%} of it: look for crossed channels, another cell, a bound deck"
            )
            return Refusal(found, right)
    over = [abs(r) / float(a) for r, a in zip(solution.residual_kg, solution.allowed_kg, strict=True)]
    worst = over.index(max(over))
    if over[worst] > 1.0:
        placement, residual = placements[worst], solution.residual_kg[worst]
        allowed = solution.allowed_kg[worst]
        found = (
            f"residual {signed_kg(residual, settings.interval_kg)} at the load "
            f"{place_text(placement.group, settings)}, above the {mass_text(allowed)} that the rules allow"
        )
        return Refusal(found, _mend(solution, placements, settings))
    most_kg = min(SHEET_SHARE * a for a in solution.allowed_kg)
    if solution.sheet_kg > float(most_kg):
        found = f"{solution.sheet_kg:.3g} kg of a load may hang on what data sheets say"
        return Refusal(found, f"at most {float(most_kg):.3g} kg: place more loads, each right over one cell")
    return None


def _suspect(root: Floats, told: Floats, residual: Floats) -> int:
    """The load that, were it alone wrong, would explain most.

    root: of the covariance.  told: orthonormal, (placements, combinations told), in whitened equations.
    Source: Baarda's test of one observation at a time (w-test), correlated observations (memory).
    """
    inverse = np.linalg.inv(root)
    left_over = np.eye(len(residual)) - told @ told.T
    spread = np.sqrt(np.maximum(np.diag(inverse.T @ left_over @ inverse), 0.0))
    weighed = np.abs(inverse.T @ (inverse @ residual))
    return int(np.argmax(weighed / np.maximum(spread, 1e-9 * spread.max())))


def _mend(solution: Solution, placements: Sequence[Placement], settings: Settings) -> str:
    """What to do about residuals."""
    look = "look for something that lies or binds there, and for a load of another mass"
    if solution.suspect is None:
        return f"one of the loads is not as the others, so few cannot tell which: {look}; repeat them"
    where = place_text(placements[solution.suspect].group, settings)
    return f"the load {where} fits least with the others: {look}; repeat it"


def _notes(factors: Floats, settings: Settings) -> tuple[str, ...]:
    return tuple(
        f"{cells_text(group)}: {factor - 1.0:+.2%} from the data sheet, whose tolerance is"
        f" {settings.sheet_tolerance:.2%}"
        for group, factor in zip(settings.groups, factors.tolist(), strict=True)
        if abs(factor - 1.0) > settings.sheet_tolerance
    )


def place_text(group: int | None, settings: Settings) -> str:
    """Where a load stands, in words."""
    return "in the middle" if group is None else f"over {cells_text(settings.groups[group])}"
