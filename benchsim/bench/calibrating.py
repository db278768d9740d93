"""A simulated scale under calibration: the loads that a step asks for are put on the bench, and it is read.

What is read comes the whole way: cells, nodes, link, host; the host's coefficients are taken out again.  Time
is the bench's own, so a step takes no longer than it must.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan
from benchsim.ground import commands as ask
from benchsim.ground.clock import SECOND_US
from benchsim.ground.errors import BadInput
from benchsim.host.calibration import Calibration
from benchsim.host.calibration_parts import Kind, Reading, Task, reading_of
from benchsim.host.calibration_seal import Seal
from benchsim.record.trace import Flag
from benchsim.rules.profile import Profile
from benchsim.scale.receptor import dead_shares_kg

UPDATE_US = SECOND_US // 10
READ_ROWS, LEAST_ROWS = 30, 10  # updates that are read: three seconds, and a second at least
WAIT_US = 60 * SECOND_US
LOOK_US = SECOND_US
HANDLING_US = 5 * SECOND_US  # between a load that goes and one that comes
MATERIAL_PART = 0.9973  # of the weights it stands for: nobody hits them quite
WEIGHTS, MATERIAL = "test weights", "material"
STORY = (ask.StartFault, ask.EndFault)


def calibrated_plan(plan: Plan) -> Plan:
    """The plan of a bench for a calibration: its faults stay, loads and commands of its story do not.

    The host shows each instant once, in means that do not overlap, and keeps its hands off the zero.
    """
    host = replace(
        plan.host, update_hz=SECOND_US // UPDATE_US, averaging_us=UPDATE_US, zero_tracking=False,
        initial_zero=False,
    )  # fmt: skip
    kept = tuple(item for item in plan.timeline if isinstance(item.command, STORY))
    return replace(plan, host=host, timeline=kept, paired_at_start=True)


def sealed_plan(plan: Plan, seal: Seal) -> Plan:
    """The plan of a scale that was calibrated: the host has the coefficients, both ends the fingerprints."""
    nodes = tuple(
        replace(n, card=replace(n.card, fingerprint=seal.nodes.get(n.card.strap, n.card.fingerprint)))
        for n in plan.nodes
    )
    expected = tuple(replace(e, sealed_fingerprint=seal.nodes.get(e.address)) for e in plan.link.expected)
    return replace(
        plan, nodes=nodes, link=replace(plan.link, expected=expected),
        host=replace(plan.host, seats=seal.seats),
    )  # fmt: skip


class CalibrationBench:
    """The bench, and whoever puts the loads on.  plan: as calibrated_plan gives it."""

    def __init__(self, plan: Plan, profile: Profile, seed: int | str) -> None:
        self.plan = plan
        self.bench = Bench(plan, profile, seed)
        self._worth = np.array([seat.kg_per_count for seat in plan.host.seats])
        self._zero = np.array([seat.zero_counts for seat in plan.host.seats])

    def carry_out(self, state: Calibration) -> None:
        """Do what the next step asks for.  Raises BadInput for a load that cannot stand there."""
        task = state.task
        if task is None:
            return
        if task.kind is Kind.ZERO or task.group is not None or task.kind in (Kind.CORNER, Kind.SPAN):
            self._empty()
        if task.kind is Kind.ZERO:
            return
        self._take(WEIGHTS)
        if task.kind is Kind.SUBSTITUTE:
            self._take(MATERIAL)
            self._put(MATERIAL, float(task.load_kg) * MATERIAL_PART, self._spot(task, state))
        else:
            self._put(WEIGHTS, float(task.weights_kg), self._spot(task, state))

    def do(self, command: ask.Command) -> str:
        """Something else that is done to the scale; the reason why not, or ""."""
        outcome = self.bench.do(command)
        return "" if outcome.done else outcome.reason

    def read(self) -> Reading:
        """Wait until the scale has rested for three seconds in all, for a minute at most, and read those.

        A link that loses frames makes a weight too old for a moment again and again: what is read then does
        not count, and goes on afterwards.
        """
        first_us, rows = self.bench.now_us, self._rows_since(self.bench.now_us)
        while len(rows) < READ_ROWS and self.bench.now_us < first_us + WAIT_US:
            self.bench.run(self.bench.now_us + LOOK_US)
            rows = self._rows_since(first_us)
        self.bench.trace.forget_before(first_us)
        if len(rows) >= LEAST_ROWS:
            return reading_of(rows[-READ_ROWS:], True)
        shown, none = self.bench.indication, (0.0,) * len(self._worth)
        return Reading(none, none, 1, False, shown.reason or "in motion")

    def _rows_since(self, first_us: int) -> NDArray[np.float64]:
        """Counts of every cell at each update since then at which the scale was at rest."""
        trace = self.bench.trace
        rows = trace.block(trace.rows_before(first_us + 1), len(trace))
        rested = ~rows.flag(Flag.MOTION) & np.isfinite(rows.cells_kg).all(axis=1)
        counts: NDArray[np.float64] = rows.cells_kg[rested] / self._worth + self._zero
        return counts

    # -- loads -------------------------------------------------------------------------------------------

    def _empty(self) -> None:
        self._take(WEIGHTS)
        self._take(MATERIAL)

    def _take(self, name: str) -> None:
        if name in self.bench.loads:
            self.bench.do(ask.Remove(name))
            self.bench.run(self.bench.now_us + HANDLING_US)

    def _put(self, name: str, mass_kg: float, spot_m: tuple[float, float]) -> None:
        self.bench.do(ask.Place(name, mass_kg, *spot_m))
        self.bench.run(self.bench.now_us + HANDLING_US)

    def _spot(self, task: Task, state: Calibration) -> tuple[float, float]:
        """In metres: the middle of the cells it stands over, or of the deck."""
        receptor = self.plan.scale.receptor
        if task.group is None:
            return receptor.length_m / 2, receptor.width_m / 2
        cells = [receptor.supports[cell] for cell in state.settings.groups[task.group]]
        return sum(s.x_m for s in cells) / len(cells), sum(s.y_m for s in cells) / len(cells)


def group_limit_kg(plan: Plan, groups: tuple[tuple[int, ...], ...]) -> Decimal:
    """What the cells of the weakest group take beside their share of the dead load: a load over it alone."""
    dead = dead_shares_kg(plan.scale.receptor)
    room = [sum(plan.scale.cells[c].e_max_kg - dead[c] for c in group) for group in groups]
    if min(room) <= 0.0:
        raise BadInput("the dead load alone fills a cell", "cells of a larger E_max")
    return Decimal(int(min(room)))
