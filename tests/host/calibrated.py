"""A scale by hand for calibrations: known coefficients, shares as a table, noise when a test wants it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from benchsim.host.calibration import Calibration, begin
from benchsim.host.calibration_parts import Kind, Reading, Refusal, Settings, Task, reading_of
from benchsim.host.calibration_solve import Placement
from benchsim.rules.profile import load_profile

SHEET = 0.0005  # kg a count
R76 = load_profile("r76-iii")


def settings(cells: int = 4, **changed: object) -> Settings:
    """A scale of 3 t by 1 kg under R 76, each cell for itself."""
    usual: dict[str, object] = {
        "capacity_kg": Decimal(3000),
        "interval_kg": Decimal(1),
        "profile": R76,
        "groups": tuple((cell,) for cell in range(cells)),
        "places": tuple((1 + cell // 4, cell % 4) for cell in range(cells)),
        "corner_kg": Decimal(1000),
        "weights_kg": Decimal(3000),
        "sheet": (SHEET,) * cells,
        "points_kg": (Decimal(500), Decimal(3000)),
    }
    return Settings(**(usual | changed))  # type: ignore[arg-type]


def bending(cells: int) -> NDArray[np.float64]:
    """Shares of a load over each cell on a deck that bends: most of it stays where it stands."""
    others = 0.3 / (cells - 1)
    return np.full((cells, cells), others) + np.eye(cells) * (0.7 - others)


def stiff_square() -> NDArray[np.float64]:
    """Shares on a stiff square deck, by statics: 1/4, and a half for each axis."""
    at = np.array([(-1, -1), (-1, 1), (1, -1), (1, 1)], dtype=float)
    return np.asarray(0.25 * (1.0 + 0.8 * (at @ at.T)), dtype=np.float64)


@dataclass
class HandScale:
    """true: kg a count of each cell.  shares: of a load over each cell, (places, cells).  extra_kg: something
    that lies on each cell.  noise: standard deviation of one reading, counts.  material: of the weights it
    stands for.
    """

    true: Sequence[float]
    shares: NDArray[np.float64]
    noise: float = 0.0
    extra_kg: Sequence[float] | None = None
    material: float = 1.0
    gain: float = 1.0
    seed: int = 0
    _dice: np.random.Generator = field(init=False)
    _material_kg: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        self._dice = np.random.default_rng(self.seed)

    def read(self, task: Task, group: Sequence[int] = ()) -> Reading:
        """What is read when a step was done as asked."""
        if task.kind is Kind.SUBSTITUTE:
            self._material_kg = float(task.load_kg) * self.material
            load_kg = self._material_kg
        else:
            load_kg = float(task.weights_kg) + (self._material_kg if task.level else 0.0)
        share = (
            self.shares[list(group)].mean(axis=0) if group else np.full(len(self.true), 1 / len(self.true))
        )
        kg = load_kg * self.gain * share + (0.0 if self.extra_kg is None else np.array(self.extra_kg))
        counts = 10_000.0 + kg / np.array(self.true)
        return reading_of(counts + self.noise * self._dice.standard_normal((30, len(self.true))), True)


def step(state: Calibration, scale: HandScale) -> Calibration | Refusal:
    """One step, done as asked."""
    task = state.task
    assert task is not None
    return state.done(scale.read(task, () if task.group is None else state.settings.groups[task.group]))


def walked(own: Settings, scale: HandScale, steps: int | None = None) -> Calibration:
    """Every step, or so many; none may be refused."""
    state = begin(own)
    while state.task is not None and (steps is None or state.at < steps):
        after = step(state, scale)
        assert isinstance(after, Calibration), f"step {state.at + 1}: {after}"
        state = after
    return state


def refused(own: Settings, scale: HandScale) -> tuple[Calibration, Refusal]:
    """Until a step is refused: the state that refused, and why."""
    state = begin(own)
    while state.task is not None:
        after = step(state, scale)
        if isinstance(after, Refusal):
            return state, after
        state = after
    raise AssertionError("nothing was refused")


def placements(scale: HandScale, own: Settings, rounds: int = 1, middle: bool = True) -> list[Placement]:
    """Loads over each group in turn, each round from a reading of the empty deck."""
    found = []
    corners: list[int | None] = [*range(len(own.groups))]
    for round_number in range(rounds):
        empty = scale.read(Task(Kind.ZERO))
        for group in corners + [None] * middle:
            task = Task(Kind.CORNER, own.corner_kg, own.corner_kg, group)
            reading = scale.read(task, () if group is None else own.groups[group])
            change = tuple(a - b for a, b in zip(reading.counts, empty.counts, strict=True))
            one = Placement(own.corner_kg, group, change, reading.variances, round_number, empty.variances)
            found.append(replace(one, variances=(scale.noise**2 / 30,) * own.cells,
                                 zero_variances=(scale.noise**2 / 30,) * own.cells))  # fmt: skip
    return found
