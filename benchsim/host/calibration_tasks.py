"""The steps of a calibration, in order: a list that settings fix, so that a step has a number.

Each load has an empty deck before it, since what is read is the change from there.
"""

from __future__ import annotations

import math
from decimal import Decimal

from benchsim.ground.errors import BadInput
from benchsim.host.calibration_parts import Kind, Settings, Task
from benchsim.rules.profile import Profile

LEAST_POINTS = 5  # where the profile has no figure; own choice, as R 76-1 A.4.4.1
REPEAT_AT = Decimal("0.8")  # of Max, where the profile has no figure; own choice, as R 76-1 8.3.3


def tasks_of(settings: Settings) -> tuple[Task, ...]:
    """Every step."""
    empty = Task(Kind.ZERO)
    corners = [*range(len(settings.groups)), None]
    tasks = [empty]
    tasks += [Task(Kind.CORNER, settings.corner_kg, settings.corner_kg, group) for group in corners]
    tasks += [empty, Task(Kind.SPAN, settings.weights_kg, settings.weights_kg), empty]
    loads = [*_points(settings), *_ladder(settings)]
    tasks += [*loads, empty] if loads else []
    repeat_at = settings.profile.tests.weighings_in_use_load or REPEAT_AT
    repeat_kg = min(settings.weights_kg, _whole(settings.capacity_kg * repeat_at, settings.e_kg))
    for _ in range(settings.repeats):
        tasks += [Task(Kind.REPEAT, repeat_kg, repeat_kg), empty]
    return tuple(tasks)


def _points(settings: Settings) -> list[Task]:
    """The loads that test weights alone can make; with a ladder above them all weights come last."""
    loads_kg = {p for p in settings.points_kg if p <= settings.weights_kg}
    if _substitutions(settings):
        loads_kg.add(settings.weights_kg)
    return [Task(Kind.LINEARITY, p, p) for p in sorted(loads_kg)]


def _ladder(settings: Settings) -> list[Task]:
    """Weights off, as much of something else on, weights on top of it; again up to Max."""
    tasks, step_kg = [], settings.weights_kg
    for level in range(1, _substitutions(settings) + 1):
        below_kg = level * step_kg
        tasks.append(Task(Kind.SUBSTITUTE, below_kg, level=level))
        top_kg = min(step_kg, settings.capacity_kg - below_kg)
        tasks.append(Task(Kind.LINEARITY, below_kg + top_kg, top_kg, level=level))
    return tasks


def _substitutions(settings: Settings) -> int:
    """How many are needed up to Max; none where no point lies above the test weights."""
    if not any(point > settings.weights_kg for point in settings.points_kg):
        return 0
    return math.ceil(settings.capacity_kg / settings.weights_kg) - 1


def usual_points(capacity_kg: Decimal, counted_kg: Decimal, profile: Profile) -> tuple[Decimal, ...]:
    """Min, the loads at which the tolerance changes, Max, and more in between until there are enough.

    counted_kg: what the profile's limits count.  Source: R 76-1 A.4.4.1, by way of the profile.
    """
    tops = [band * counted_kg for band, _ in profile.tolerance.bands if band is not None]
    least = profile.tests.loads or LEAST_POINTS
    points = {profile.min_load_d * counted_kg, capacity_kg, *(top for top in tops if top < capacity_kg)}
    points = {p for p in points if 0 < p <= capacity_kg}
    quarters = [_whole(capacity_kg * part / 4, counted_kg) for part in (1, 2, 3)]
    for point in sorted(quarters, key=lambda q: -min(abs(q - p) for p in points)):
        if len(points) < least:
            points.add(point)
    return tuple(sorted(points))


def sections_of(places_m: tuple[tuple[float, float], ...]) -> tuple[tuple[int, ...], ...]:
    """The cells of each section: those that stand side by side across the length of the deck.

    places_m: (along, across) of each cell.  Raises BadInput when no two stand side by side.
    """
    found: dict[float, list[int]] = {}
    for cell, (x_m, _) in enumerate(places_m):
        found.setdefault(round(x_m, 2), []).append(cell)
    groups = tuple(tuple(found[x]) for x in sorted(found))
    if len(groups) == len(places_m) > 1:
        raise BadInput("no two cells stand side by side", "calibrate cell by cell: --sections cells")
    return groups


def _whole(load_kg: Decimal, interval_kg: Decimal) -> Decimal:
    return max(1, int(load_kg / interval_kg)) * interval_kg
