"""What a finished calibration comes to: coefficients, span, linearity, repeatability; whether rules hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.errors import BadInput
from benchsim.ground.units import mass_text
from benchsim.host.calibration import Calibration, noticed, zero_counts
from benchsim.host.calibration_build_up import Carried, carried
from benchsim.host.calibration_figures import noise_kg, placement, weight_kg
from benchsim.host.calibration_parts import Kind, Settings, Task, signed_kg
from benchsim.host.calibration_seal import Seal, seal
from benchsim.host.calibration_solve import Placement, Solution
from benchsim.host.calibration_tasks import tasks_of
from benchsim.host.calibration_theory import gravity_factor
from benchsim.host.calibration_weights import Asked, asked_of, load_error_kg

RANGE_OF_THREE = 1.693  # mean range of three over their standard deviation; table of control charts (memory)
LOAD_SHARE = 1.0 / 3.0  # of the tolerance may a load itself be uncertain by; as R 76-1 3.7.1 for weights


@dataclass(frozen=True, slots=True)
class Row:
    """One load.  error_kg: indicated less load, before rounding.  carried: what a built-up load carries,
    None where test weights alone make it.
    """

    load_kg: float
    indicated_kg: float
    error_kg: float
    allowed_kg: Decimal
    carried: Carried | None

    @property
    def within(self) -> bool:
        return abs(self.error_kg) <= float(self.allowed_kg)


@dataclass(frozen=True, slots=True)
class Results:
    """kg_per_count: final, of each cell, span and gravity in it.  spread_kg: of the repeated weighings, None
    when there were none.  failed: what the rules do not allow, in words; empty: the calibration holds.
    """

    settings: Settings
    solution: Solution
    span_factor: float
    gravity_factor: float
    kg_per_count: tuple[float, ...]
    zero_counts: tuple[float, ...]
    rows: tuple[Row, ...]
    repeated_kg: tuple[float, ...]
    spread_kg: float | None
    spread_allowed_kg: Decimal
    zero_return_kg: float
    asked: tuple[Asked, ...]
    failed: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def passed(self) -> bool:
        return not self.failed

    def seal(self) -> Seal:
        """Raises BadInput when the rules do not allow what was found."""
        if self.failed:
            raise BadInput(f"not sealed: {self.failed[0]}", "mend what is wrong and calibrate again")
        return seal(self.settings, self.kg_per_count, self.zero_counts, self.gravity_factor)


def results_of(state: Calibration, calibrated_g: float = 1.0, used_g: float = 1.0) -> Results:
    """calibrated_g, used_g: gravity at both places in m/s2; the same where nothing is said.

    Raises BadInput while steps are left, and for gravity of no place.
    """
    solution = state.solution
    if not state.finished or solution is None:
        left = sum(reading is None for reading in state.readings)
        raise BadInput(f"{left} steps are left", "do them first")
    moved = 1.0 if calibrated_g == used_g else gravity_factor(calibrated_g, used_g)
    tasks, placed = tasks_of(state.settings), _placed(state)
    at_span = next(i for i, task in enumerate(tasks) if task.kind is Kind.SPAN)
    span = float(tasks[at_span].load_kg) / weight_kg(placed[at_span], solution.kg_per_count)
    here = tuple(k * span for k in solution.kg_per_count)
    weights_kg = {i: weight_kg(p, here) for i, p in placed.items()}
    repeated = tuple(weights_kg[i] for i, task in enumerate(tasks) if task.kind is Kind.REPEAT)
    spread = max(repeated) - min(repeated) if repeated else None
    reading_kg = max([(spread or 0.0) / RANGE_OF_THREE, *(noise_kg(p, here) for p in placed.values())])
    rows = _rows(tasks, weights_kg, state.settings, reading_kg)
    repeat_kg = max((t.load_kg for t in tasks if t.kind is Kind.REPEAT), default=Decimal(0))
    allowed = state.settings.tolerance_kg(repeat_kg, state.settings.repeat_stage)
    asked = asked_of(state.settings)
    return Results(
        settings=state.settings,
        solution=solution,
        span_factor=span,
        gravity_factor=moved,
        kg_per_count=tuple(k * moved for k in here),
        zero_counts=zero_counts(state),
        rows=rows,
        repeated_kg=repeated,
        spread_kg=spread,
        spread_allowed_kg=allowed,
        zero_return_kg=_zero_return_kg(state, here),
        asked=asked,
        failed=_failed(rows, spread, allowed, asked, state.settings),
        notes=(*_noticed(state), *solution.notes, *_doubts(rows)),
    )


def _placed(state: Calibration) -> dict[int, Placement]:
    """Every load, by its step."""
    tasks = tasks_of(state.settings)
    loads = [i for i, task in enumerate(tasks) if task.kind is not Kind.ZERO]
    found = {i: placement(state.settings, state.readings, i) for i in loads}
    return {i: p for i, p in found.items() if p is not None}


def _rows(
    tasks: Sequence[Task], weights_kg: dict[int, float], settings: Settings, reading_kg: float
) -> tuple[Row, ...]:
    """Each load of the linearity steps.  What material stands for follows from the readings."""
    rows: list[Row] = []
    error_kg = float(load_error_kg(settings.weights_kg, settings.weight_class, settings.piece_kg))
    material_kg = before_kg = before_read_kg = 0.0
    for index, task in enumerate(tasks):
        if task.kind is Kind.SUBSTITUTE:
            material_kg = before_kg + weights_kg[index] - before_read_kg
        elif task.kind is Kind.LINEARITY:
            load_kg = material_kg + float(task.weights_kg)
            read_kg = weights_kg[index]
            top = float(task.weights_kg / settings.weights_kg)
            built = carried(task.level, top, error_kg, reading_kg) if task.level else None
            allowed_kg = settings.tolerance_kg(min(task.load_kg, settings.capacity_kg))
            rows.append(Row(load_kg, read_kg, read_kg - load_kg, allowed_kg, built))
            before_kg, before_read_kg = load_kg, read_kg
    return tuple(rows)


def _zero_return_kg(state: Calibration, kg_per_count: Sequence[float]) -> float:
    """The last empty deck against the first."""
    tasks = tasks_of(state.settings)
    empties = [r for r, t in zip(state.readings, tasks, strict=True) if r and t.kind is Kind.ZERO]
    both = zip(kg_per_count, empties[-1].counts, empties[0].counts, strict=True)
    return sum(k * (last - first) for k, last, first in both)


def _failed(
    rows: Sequence[Row], spread: float | None, allowed: Decimal, asked: Sequence[Asked], settings: Settings
) -> tuple[str, ...]:
    interval, name = settings.interval_kg, settings.profile.name
    failed = [
        f"error {signed_kg(row.error_kg, interval)} at {row.load_kg:.6g} kg, above"
        f" {mass_text(row.allowed_kg)} ({name}, {settings.stage})"
        for row in rows
        if not row.within
    ]
    if spread is not None and spread > float(allowed):
        apart = signed_kg(spread, interval).removeprefix("+")
        failed.append(
            f"repeated weighings {apart} apart, above {mass_text(allowed)} ({name}, {settings.repeat_stage})"
        )
    failed += [
        f"{item.what}: {item.found}, asked for: {item.asked} ({item.clause})"
        for item in asked
        if item.met is False and item.what.startswith("error")
    ]
    return tuple(failed)


def _noticed(state: Calibration) -> list[str]:
    return [
        f"step {index + 1}: {note}" for index in range(len(state.readings)) for note in noticed(state, index)
    ]


def _doubts(rows: Sequence[Row]) -> list[str]:
    return [
        f"the load of {row.load_kg:.6g} kg is itself uncertain by {row.carried.expanded:.3g} kg (k = 2), more"
        f" than a third of the {mass_text(row.allowed_kg)} that are allowed there"
        for row in rows
        if row.carried is not None and row.carried.expanded > LOAD_SHARE * float(row.allowed_kg)
    ]
