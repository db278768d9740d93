"""A run through the tests of OIML R 60 on a load cell alone: a pure function from a cell to outcomes.

The limits are those of R 60-1:2021 by clause, the order and the times those of R 60-2.  From memory: which
line errors are told from (no load and 75 % of the range, first rising run at 20 C) and the order of
temperatures.  A simulated run; it approves of no real cell.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from benchsim.ground.randomness import Noise
from benchsim.scale.cell import Bank
from benchsim.scale.parts import Cell, Site

RATE_HZ = 2.0
SOAK_S = 12 * 3_600  # until a cell has taken its chamber's temperature

# R 60-1 5.3.2: up to here 0.5 v, up to there 1.0 v, beyond 1.5 v.
STEPS_V = {"A": (50_000, 200_000), "B": (5_000, 20_000), "C": (500, 2_000), "D": (50, 200)}
RUNS = {"A": 5, "B": 5, "C": 3, "D": 3}  # 5.4
PER_K = {"A": 2.0, "B": 5.0, "C": 5.0, "D": 5.0}  # 5.6.1.3
CREEP_P_LC = 0.7  # 5.5.1: always
# R 60-2 2.8.3: time in s for a load step and its settling, up to so many kg, classes A, B, C and D.
TIMES_S = (
    (10.0, (10, 15, 20)), (100.0, (20, 30, 40)), (1e3, (30, 45, 60)), (1e4, (40, 60, 80)),
    (1e5, (50, 75, 100)), (np.inf, (60, 90, 120)),
)  # fmt: skip
COURSE_C = (20.0, 40.0, -10.0, 20.0)


@dataclass(frozen=True, slots=True)
class Claim:
    """What is claimed of a cell.  y: E_max / v_min."""

    accuracy_class: str
    intervals: int
    y: float
    p_lc: float = 0.7

    def envelope_v(self, load_v: float, p_lc: float | None = None) -> float:
        """Largest error at a load, both in v."""
        first, second = STEPS_V[self.accuracy_class]
        step = 0.5 if load_v <= first else 1.0 if load_v <= second else 1.5
        return (self.p_lc if p_lc is None else p_lc) * step

    def step_s(self, load_kg: float) -> int:
        """How long a step of load and its settling take."""
        place = {"A": 0, "B": 1, "C": 2, "D": 2}[self.accuracy_class]
        return next(times[place] for most, times in TIMES_S if load_kg <= most)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One result beside its limit, in v."""

    clause: str
    what: str
    found_v: float
    limit_v: float

    @property
    def held(self) -> bool:
        return self.found_v <= self.limit_v


class Press:
    """A force machine in a climate chamber, with one cell in it that has been idle for long."""

    def __init__(self, cell: Cell, noise: Noise) -> None:
        self._cell, self._noise = cell, noise
        self._bank = Bank.of((cell,), Site(temperature_c=COURSE_C[0]), RATE_HZ)
        self._state = self._bank.rest(np.zeros(1))
        self._load_kg = 0.0

    def chamber(self, temperature_c: float) -> None:
        """Another temperature, and time for the cell to take it."""
        self._bank = Bank.of((self._cell,), Site(temperature_c=temperature_c), RATE_HZ)
        self._state = self._bank.fitted(self._state)
        self.wait(SOAK_S)

    def load(self, load_kg: float) -> None:
        """Another load, at once."""
        if load_kg > self._load_kg:
            part = (load_kg - self._load_kg) / load_kg
            self._state = self._bank.seated(self._state, self._noise.normal(1), part)
        self._load_kg = load_kg

    def wait(self, seconds: float) -> float:
        """Time that passes under the load, and the output in mV/V at its end."""
        count = max(1, round(seconds * RATE_HZ))
        mass_kg = np.full((1, 1), self._load_kg)
        first, after = self._bank.under(mass_kg, self._state)
        self._state = after(1)
        if count == 1:
            return float(first[0, 0])
        output, after = self._bank.still(mass_kg[:, 0], self._state, count - 1)
        self._state = after(count - 1)
        return float(output[0, -1])


def loads_v(claim: Claim) -> list[float]:
    """Loads of a rising run: tenths and the steps of the envelope."""
    steps = [float(s) for s in STEPS_V[claim.accuracy_class] if s < claim.intervals]
    return sorted({claim.intervals * k / 8.0 for k in range(9)} | set(steps))


Series = dict[tuple[str, float], float]


def _series(press: Press, claim: Claim, v_kg: float) -> Series:
    """Three preloads, then a run up and down: outputs in mV/V by way and load in v."""
    top = loads_v(claim)[-1]
    for load in (top, 0.0) * 3:
        press.load(load * v_kg)
        press.wait(2 * claim.step_s(load * v_kg))
    found: Series = {("up", 0.0): press.wait(claim.step_s(0.0))}
    rising = loads_v(claim)[1:]
    for way, loads in (("up", rising), ("down", [*rising[-2::-1], 0.0])):
        for load in loads:
            time_s = claim.step_s(load * v_kg)
            press.wait(0.5 * time_s)  # the machine is at it
            press.load(load * v_kg)
            found[way, load] = press.wait(0.5 * time_s)
    return found


def run(cell: Cell, claim: Claim, noise: Noise) -> list[Outcome]:
    """All outcomes for a cell, E_min 0."""
    press, v_kg = Press(cell, noise), cell.e_max_kg / claim.intervals
    courses = []
    for temperature_c in COURSE_C:
        press.chamber(temperature_c)
        courses.append([_series(press, claim, v_kg) for _ in range(RUNS[claim.accuracy_class])])
    mv_per_v = _slope(courses[0][0], claim)
    outcomes = list(_dead_load(courses, claim, mv_per_v))
    for number, (temperature_c, runs) in enumerate(zip(COURSE_C, courses, strict=True), 1):
        name = f"test {number}, {temperature_c:g} C"
        outcomes += _errors(name, runs, claim, mv_per_v)
    return [*outcomes, *_creep(press, claim, v_kg, mv_per_v)]


def _slope(first: Series, claim: Claim) -> float:
    """mV/V for one v, by no load and 75 % of the range on the way up."""
    points = [(load, first["up", load]) for load in loads_v(claim)]
    at = np.interp(0.75 * claim.intervals, [p[0] for p in points], [p[1] for p in points])
    return float(at - first["up", 0.0]) / (0.75 * claim.intervals)


def _errors(name: str, runs: list[Series], claim: Claim, mv_per_v: float) -> Iterator[Outcome]:
    """5.3.2: mean errors on the way up and down; 5.4: spread of the runs.  The worst of each."""
    told = [{k: (out - r["up", 0.0]) / mv_per_v - k[1] for k, out in r.items()} for r in runs]
    for way in ("up", "down"):
        means = {load: float(np.mean([t[w, load] for t in told])) for w, load in told[0] if w == way}
        yield _worst("5.3.2", f"{name}: error on the way {way}", means, claim)
        spreads = {load: float(np.ptp([t[w, load] for t in told])) for w, load in told[0] if w == way}
        yield _worst("5.4", f"{name}: spread of {len(runs)} runs on the way {way}", spreads, claim)


def _worst(clause: str, what: str, by_load: dict[float, float], claim: Claim) -> Outcome:
    load = max(by_load, key=lambda at: abs(by_load[at]) / claim.envelope_v(at))
    return Outcome(clause, f"{what}, worst at {load:g} v", abs(by_load[load]), claim.envelope_v(load))


def _dead_load(courses: list[list[Series]], claim: Claim, mv_per_v: float) -> Iterator[Outcome]:
    """5.6.1.3: from one temperature to the next by at most p_LC v_min for each step of kelvin."""
    idle = [float(np.mean([r["up", 0.0] for r in runs])) / mv_per_v for runs in courses]
    v_min = claim.intervals / claim.y
    for (was_c, was), (now_c, now) in zip(
        zip(COURSE_C, idle, strict=True), list(zip(COURSE_C, idle, strict=True))[1:], strict=False
    ):
        limit = claim.p_lc * v_min * abs(now_c - was_c) / PER_K[claim.accuracy_class]
        what = f"minimum dead load output from {was_c:g} to {now_c:g} C"
        yield Outcome("5.6.1.3", what, abs(now - was), limit)


def _creep(press: Press, claim: Claim, v_kg: float, mv_per_v: float) -> Iterator[Outcome]:
    """5.5.1 and 5.5.2, R 60-2 2.10.2: three preloads, an hour, then 30 min near E_max and back."""
    top_v = float(claim.intervals)
    for load in (top_v, 0.0) * 3:
        press.load(load * v_kg)
        press.wait(2 * claim.step_s(load * v_kg))
    before = press.wait(3_600)
    press.load(top_v * v_kg)
    settle_s = claim.step_s(top_v * v_kg)
    first = press.wait(0.5 * settle_s)
    readings = [press.wait(60.0) for _ in range(30)]
    off_v = (np.array(readings) - first) / mv_per_v
    limit_v = claim.envelope_v(top_v, CREEP_P_LC)
    yield Outcome("5.5.1", "creep in 30 min", float(np.abs(off_v).max()), 0.7 * limit_v)
    yield Outcome("5.5.1", "creep from 20 to 30 min", abs(float(off_v[29] - off_v[19])), 0.15 * limit_v)
    press.load(0.0)
    after = press.wait(0.5 * settle_s)
    yield Outcome("5.5.2", "minimum dead load output return", abs(after - before) / mv_per_v, 0.5)
