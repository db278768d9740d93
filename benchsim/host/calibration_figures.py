"""What readings come to: each load as a change from the empty deck before it, and weights from that.

Everything is worked out anew from the readings, so a step that is repeated leaves nothing behind.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsim.host.calibration_parts import Kind, Reading, Refusal, Settings
from benchsim.host.calibration_solve import Placement, Solution, solve
from benchsim.host.calibration_tasks import tasks_of

Readings = Sequence[Reading | None]


def zero_before(settings: Settings, index: int) -> int:
    """The step that read the empty deck before this one; of the first, itself."""
    tasks = tasks_of(settings)
    return next((i for i in range(index - 1, -1, -1) if tasks[i].kind is Kind.ZERO), 0)


def placement(settings: Settings, readings: Readings, index: int) -> Placement | None:
    """The load of one step; None while it or its empty deck was not read."""
    zero = zero_before(settings, index)
    reading, empty = readings[index], readings[zero]
    if reading is None or empty is None:
        return None
    task = tasks_of(settings)[index]
    change = tuple(a - b for a, b in zip(reading.counts, empty.counts, strict=True))
    return Placement(task.load_kg, task.group, change, reading.variances, zero, empty.variances)


def solved(settings: Settings, readings: Readings) -> tuple[Solution | None, Refusal | None]:
    """The coefficients from the loads that went over each place; (None, None) while one was not read."""
    corners = [i for i, task in enumerate(tasks_of(settings)) if task.kind is Kind.CORNER]
    placements = [placement(settings, readings, i) for i in corners]
    known = [p for p in placements if p is not None]
    return solve(known, settings) if len(known) == len(corners) else (None, None)


def weight_kg(placed: Placement, kg_per_count: Sequence[float]) -> float:
    """What stands there by these coefficients."""
    return math.fsum(k * c for k, c in zip(kg_per_count, placed.change, strict=True))


def noise_kg(placed: Placement, kg_per_count: Sequence[float]) -> float:
    """Standard uncertainty of that weight from the noise of its reading and of the empty deck's."""
    squares = (v + z for v, z in zip(placed.variances, placed.zero_variances, strict=True))
    return math.sqrt(math.fsum(k * k * s for k, s in zip(kg_per_count, squares, strict=True)))
