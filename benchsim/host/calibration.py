"""A guided calibration as a state machine: it says what to do next and takes `done` with what was read.

A state is a frozen value.  What is refused changes nothing: the state that refused is the state to go on
from, with all readings in it.  A step may be done again, or gone back to, at any time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from benchsim.ground.units import mass_text
from benchsim.host.calibration_figures import noise_kg, placement, solved, weight_kg, zero_before
from benchsim.host.calibration_parts import (
    Kind,
    Reading,
    Refusal,
    Settings,
    Task,
    cells_text,
    check,
    signed_kg,
    weight_text,
)
from benchsim.host.calibration_prompts import Prompt, prompt_of
from benchsim.host.calibration_solve import FALLS, Placement, Solution, place_text
from benchsim.host.calibration_tasks import tasks_of

EMPTY_WITHIN_E = 1.0  # of what an empty deck may differ from the first; twice R 76-1 3.9.4.2; own choice
SEEN = 0.2  # of a load must be seen at all; own choice
OTHER_MASS = 0.05  # of a load: more than a span can be off once coefficients are known; own choice
LIKE = 0.8  # of what another cell takes must the one take that a load is said to stand over; own choice


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration under way.

    readings: one a step, None where it was not read yet.  at: the step that is next, as many as there are
    steps when all are done.  last: the step that was done last.
    """

    settings: Settings
    readings: tuple[Reading | None, ...]
    at: int = 0
    last: int | None = None

    @property
    def task(self) -> Task | None:
        """The step that is next; None when all are done."""
        tasks = tasks_of(self.settings)
        return tasks[self.at] if self.at < len(tasks) else None

    @property
    def finished(self) -> bool:
        return all(reading is not None for reading in self.readings)

    @property
    def solution(self) -> Solution | None:
        """The coefficients from the loads place by place; None before all of them were read."""
        return solved(self.settings, self.readings)[0]

    def prompt(self) -> Prompt | None:
        """What to do next, and what is expected then; None when all is done."""
        task = self.task
        if task is None:
            return None
        first = all(reading is None for reading in self.readings)
        return prompt_of(task, self.at, len(self.readings), self.settings, first)

    def done(self, reading: Reading) -> Calibration | Refusal:
        """What was asked for is done, and this was read.  The next state, or why it cannot be taken."""
        if self.task is None:
            return Refusal("all steps are done", "go back to one, or take the result")
        if refusal := self._refused(reading):
            return refusal
        with_it = self._with(reading)
        if self.task.kind in (Kind.CORNER, Kind.ZERO):
            _, refusal = solved(self.settings, with_it)
            if refusal is not None:
                return refusal
        following = [i for i, known in enumerate(with_it) if known is None]
        later = [i for i in following if i > self.at]
        return replace(self, readings=with_it, at=(later or following or [len(with_it)])[0], last=self.at)

    def back(self) -> Calibration:
        """One step back, to do it again; what was read later stays.  The first step stays the first."""
        return replace(self, at=max(0, self.at - 1))

    def again(self) -> Calibration:
        """To the step that was done last, to do it again; before any was done, nothing changes."""
        return self if self.last is None else replace(self, at=self.last)

    def tried(self, reading: Reading) -> Solution | None:
        """What the loads come to with this reading, for people who were refused."""
        return solved(self.settings, self._with(reading))[0]

    def _with(self, reading: Reading) -> tuple[Reading | None, ...]:
        return (*self.readings[: self.at], reading, *self.readings[self.at + 1 :])

    # -- why a reading is refused ------------------------------------------------------------------------

    def _refused(self, reading: Reading) -> Refusal | None:
        found, wanted = len(reading.counts), self.settings.cells
        if found != wanted:
            return Refusal(f"counts of {found} cells", f"{wanted}: the scale has {wanted}")
        if reading.instants < 1 or not all(map(math.isfinite, (*reading.counts, *reading.spread))):
            return Refusal("counts that are no numbers", "read the scale again")
        if not reading.stable:
            return Refusal(
                f"not at rest: {reading.reason or 'in motion'}", "wait until it rests, then say done"
            )
        assert self.task is not None
        if self.task.kind is Kind.ZERO:
            return self._not_empty(reading)
        placed = placement(self.settings, self._with(reading), self.at)
        if placed is None:
            return Refusal("the empty deck before this load was not read", "go back and read it")
        return self._unseen(placed) or self._other_mass(placed)

    def _not_empty(self, reading: Reading) -> Refusal | None:
        """Against the first reading of the empty deck; the first stands for itself."""
        first, known = self.readings[0], self._known()
        if self.at == 0 or first is None or known is None:
            return None
        by_cell = [k * (a - b) for k, a, b in zip(known, reading.counts, first.counts, strict=True)]
        more_kg, limit_kg = sum(by_cell), EMPTY_WITHIN_E * float(self.settings.e_kg)
        if abs(more_kg) <= limit_kg:
            return None
        most = max(range(len(by_cell)), key=lambda i: abs(by_cell[i]))
        interval = self.settings.interval_kg
        found = (
            f"the deck is not as empty as at first: {signed_kg(more_kg, interval)}, of which"
            f" {signed_kg(by_cell[most], interval)} on cell {most + 1}"
        )
        right = f"within {limit_kg:g} kg: take off what lies there, or begin again from the first step"
        return Refusal(found, right)

    def _unseen(self, placed: Placement) -> Refusal | None:
        known = self._known()
        if known is None:
            known = (1.0,) * self.settings.cells
            seen = any(abs(c) > 6.0 * noise_kg(placed, known) for c in placed.change)
        else:
            moved = sum(abs(k * c) for k, c in zip(known, placed.change, strict=True))
            seen = moved >= SEEN * float(placed.load_kg)
        if seen:
            return None
        found = f"no load of {mass_text(placed.load_kg)} is seen on the deck"
        right = f"put it {place_text(placed.group, self.settings)}, then say done"
        if placed.group is not None:
            right += "; where it stands there, look for a dead cell, its plug and its channel"
        return Refusal(found, right)

    def _other_mass(self, placed: Placement) -> Refusal | None:
        """Only once the loads themselves have told what a count is worth."""
        solution = self.solution
        assert self.task is not None
        if solution is None or self.task.kind is Kind.CORNER:
            return None
        read_kg, load_kg = weight_kg(placed, solution.kg_per_count), float(placed.load_kg)
        allowed_kg = max(OTHER_MASS * load_kg, 2.0 * float(self.settings.tolerance_kg(placed.load_kg)))
        if abs(read_kg - load_kg) <= allowed_kg:
            return None
        found = (
            f"{weight_text(read_kg, self.settings.interval_kg)} are seen on the deck where"
            f" {mass_text(placed.load_kg)} were asked for"
        )
        return Refusal(
            found, f"within {allowed_kg:.3g} kg: count the weights, look for what else stands there"
        )

    def _known(self) -> tuple[float, ...] | None:
        solution = self.solution
        return solution.kg_per_count if solution is not None else self.settings.sheet


def begin(settings: Settings) -> Calibration:
    """A calibration of which nothing is done.  Raises BadInput for settings that cannot be."""
    check(settings)
    return Calibration(settings, (None,) * len(tasks_of(settings)))


def noticed(state: Calibration, index: int) -> tuple[str, ...]:
    """What strikes at the load of one step that was done: told, never in the way."""
    settings, known = state.settings, state.settings.sheet
    placed = placement(settings, state.readings, index)
    if known is None or placed is None or tasks_of(settings)[index].kind is not Kind.CORNER:
        return ()
    notes = []
    by_cell = [k * c for k, c in zip(known, placed.change, strict=True)]
    read_kg, load_kg = sum(by_cell), float(placed.load_kg)
    if abs(read_kg - load_kg) > OTHER_MASS * load_kg:
        read = weight_text(read_kg, settings.interval_kg)
        notes.append(f"by the data sheets {read} stand there, not {mass_text(placed.load_kg)}")
    if placed.group is not None:
        mine = settings.groups[placed.group]
        notes += [f"the counts of cell {c + 1} fall under it" for c in mine if by_cell[c] < -FALLS * load_kg]
        most = max(range(len(by_cell)), key=lambda i: by_cell[i])
        if most not in mine and max(by_cell[c] for c in mine) < LIKE * by_cell[most]:
            notes.append(
                f"cell {most + 1} takes most of a load over {cells_text(mine)}:"
                " channels crossed, or another place"
            )
    return tuple(notes)


def zero_counts(state: Calibration) -> tuple[float, ...]:
    """Counts of each cell on the empty deck, as it was read before the span was set."""
    span = next(i for i, task in enumerate(tasks_of(state.settings)) if task.kind is Kind.SPAN)
    reading = state.readings[zero_before(state.settings, span)]
    assert reading is not None
    return reading.counts
