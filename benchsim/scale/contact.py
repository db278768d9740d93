"""What a rigid deck does on supports that only push: who bears, who hangs free, what else it comes down on.

The forces are the ones of least energy, so there is one answer for any load.  Which supports bear makes a
case; within a case every force is affine in three sums (mass, mass times x, mass times y).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2, Receptor, Support, Touch
from benchsim.scale.receptor import Basis, stiff, ways_of

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]

# How far a deck lifts off a support before the mount's hold-down takes it, beside the cell: so far that only
# a deck that tips comes to it.  Common practice, no source.
HOLD_DOWN_M = 0.02
# What a support that hangs free keeps of its stiffness, so that the deck always has one place: a tenth of a
# gram or so.
_HANGING = 1e-9
# A softer spring is none; no support is softer (validate.py).
_SOFTEST_N_PER_M = 1e-6
# Rounds in which nearly every load finds its case by itself; the rest are taken one by one.
_ROUNDS = 8
_STEPS, _HALVINGS = 200, 60

PRESSED, FREE, HELD = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Case:
    """Forces while some elements bear, some hang free and some are held down.

    Each (elements, 1); force = offset + per_kg * mass + per_x * (mass x) + per_y * (mass y), in kg, up on
    the deck.  softness: m per kg.  beyond_m: from where its force is 0, how far it has come down on it.
    """

    offset: Floats
    per_kg: Floats
    per_x: Floats
    per_y: Floats
    softness: Floats
    beyond_m: Floats

    def forces(self, mass: Floats, x: Floats, y: Floats) -> Floats:
        return self.per_kg * mass + self.per_x * x + self.per_y * y + self.offset


@dataclass(frozen=True, eq=False)
class Contact:
    """The supports of a receptor, in order, and behind them what else it touches.

    gap_m, play_m, bonded: (elements, 1).  push: mass, mass times x, mass times y of what presses the deck
    whatever it does.  at_rest: what each element does under a light load.  cases: worked out so far.
    """

    count: int
    points: tuple[tuple[float, float, float], ...]  # x, y, stiffness in kg/m
    ways: tuple[Basis, ...]
    gap_m: Floats
    play_m: Floats
    bonded: NDArray[np.bool_]
    push: tuple[float, float, float]
    at_rest: bytes
    cases: dict[bytes, Case] = field(default_factory=dict)

    def carried(self, mass: Floats, x: Floats, y: Floats) -> Floats:
        """What the cells see of such sums of all that presses on the deck: (supports, n), sums (n,)."""
        mass, x, y = mass + self.push[0], x + self.push[1], y + self.push[2]
        case = self._case(self.at_rest)
        forces = case.forces(mass, x, y)
        codes = self._codes(case, forces)
        wrong = (codes != np.frombuffer(self.at_rest, np.int8)[:, None]).any(axis=0)
        if wrong.any():
            where = np.flatnonzero(wrong)
            self._settle(forces, codes, where, mass, x, y)
        return forces[: self.count]

    def _settle(
        self, forces: Floats, codes: Codes, where: NDArray[np.intp], mass: Floats, x: Floats, y: Floats
    ) -> None:
        """Put the forces right where they stand for a case that is not so; each place on its own."""
        for _ in range(_ROUNDS):
            left = []
            for at in _alike(codes, where):
                kind = codes[:, at[0]].copy()
                case = self._case(kind.tobytes())
                found = case.forces(mass[at], x[at], y[at])
                fresh = self._codes(case, found)
                forces[:, at], codes[:, at] = self._told(found, kind), fresh
                left.append(at[(fresh != kind[:, None]).any(axis=0)])
            where = np.sort(np.concatenate(left))
            if not len(where):
                return
        for place in where.tolist():
            sums = float(mass[place]), float(x[place]), float(y[place])
            forces[:, place] = self._alone(*sums)

    def _told(self, forces: Floats, codes: Codes) -> Floats:
        """What cells see: nothing of a hold-down's pull."""
        return np.where((codes == HELD)[:, None], 0.0, forces)

    def _codes(self, case: Case, forces: Floats) -> Codes:
        """What each element does under these forces, were they so."""
        down_m = forces * case.softness + case.beyond_m
        codes = np.where(down_m >= 0.0, PRESSED, np.where(down_m < -self.play_m, HELD, FREE))
        return np.where(self.bonded, PRESSED, codes).astype(np.int8)

    def _case(self, codes: bytes) -> Case:
        """The forces while elements do as codes say; worked out once."""
        if codes not in self.cases:
            self.cases[codes] = self._made(codes)
        return self.cases[codes]

    def _made(self, codes: bytes) -> Case:
        kinds = np.frombuffer(codes, np.int8).tolist()
        points = tuple(
            (x, y, k * _HANGING if kind == FREE else k)
            for (x, y, k), kind in zip(self.points, kinds, strict=True)
        )
        solved = _solved(points, self.ways)
        shift_m = [
            gap - (play if kind == HELD else 0.0)
            for gap, play, kind in zip(
                self.gap_m[:, 0].tolist(), self.play_m[:, 0].tolist(), kinds, strict=True
            )
        ]
        return solved.case(shift_m, self.gap_m[:, 0].tolist())

    def _alone(self, mass: float, x: float, y: float) -> Floats:
        """Forces on the elements under one load: Newton's way down the energy, each step as far as is best.

        The energy of springs that push one way is convex and made of pieces of second degree, so this ends
        in the only lowest place.
        """
        sums = np.array([mass]), np.array([x]), np.array([y])
        codes = self.at_rest
        down_m = self._down_m(codes, *sums)
        for _ in range(_STEPS):
            goal_m = self._down_m(codes, *sums)
            down_m = down_m + self._best(codes, down_m, goal_m) * (goal_m - down_m)
            fresh = self._kinds(down_m)
            if fresh == codes:
                break
            codes = fresh
        return self._told(self._case(codes).forces(*sums), np.frombuffer(codes, np.int8))[:, 0]

    def _down_m(self, codes: bytes, mass: Floats, x: Floats, y: Floats) -> Floats:
        """How far the deck comes down on each element, (elements,), if they did as codes say."""
        case = self._case(codes)
        return (case.forces(mass, x, y) * case.softness + case.beyond_m)[:, 0]

    def _kinds(self, down_m: Floats) -> bytes:
        codes = np.where(down_m >= 0.0, PRESSED, np.where(down_m < -self.play_m[:, 0], HELD, FREE))
        return np.where(self.bonded[:, 0], PRESSED, codes).astype(np.int8).tobytes()

    def _best(self, codes: bytes, here_m: Floats, goal_m: Floats) -> float:
        """The part of the way to the goal at which the energy is least, 0 to 1.

        Springs that did as codes say would balance the load at the goal: that is the load's own work.
        """
        step = goal_m - here_m
        load = self._work(codes, goal_m, step)

        def slope(part: float) -> float:
            at_m = here_m + part * step
            return self._work(self._kinds(at_m), at_m, step) - load

        if slope(1.0) <= 0.0:
            return 1.0
        low, high = 0.0, 1.0
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if slope(middle) < 0.0 else (low, middle)
        return high

    def _work(self, codes: bytes, down_m: Floats, step: Floats) -> float:
        """What springs that do as codes say take up along a step."""
        kinds = np.frombuffer(codes, np.int8)
        stiffness = np.array([k for _, _, k in self.points]) * np.where(kinds == FREE, _HANGING, 1.0)
        stretch_m = down_m + np.where(kinds == HELD, self.play_m[:, 0], 0.0)
        return math.fsum((stiffness * stretch_m * step).tolist())


def _alike(codes: Codes, where: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """These columns in groups of equal ones: each column as a number in base 3, of 32 digits at most."""
    digits = 3 ** np.arange(len(codes), dtype=np.int64)
    numbers = (codes[:, where] * digits[:, None]).sum(axis=0)
    order = np.argsort(numbers, kind="stable")
    edges = np.flatnonzero(np.diff(numbers[order])) + 1
    return np.split(where[order], edges)


@dataclass(frozen=True, slots=True)
class Solved:
    """A rigid deck on springs that push and pull.  shares: per kg, per x, per y, each (elements, 1).

    rows: what the deck's ways do at each element.  inverse: of the stiffness in those ways.
    """

    shares: tuple[Floats, Floats, Floats]
    stiffness: tuple[float, ...]
    rows: tuple[tuple[float, ...], ...]
    inverse: tuple[tuple[float, ...], ...]

    def case(self, shift_m: list[float], gap_m: list[float]) -> Case:
        """The same on springs that begin to push when the deck has sunk by shift_m."""
        ways = range(len(self.inverse))
        pull = [
            math.fsum(
                k * shift * row[w] for k, shift, row in zip(self.stiffness, shift_m, self.rows, strict=True)
            )
            for w in ways
        ]
        sunk = [math.fsum(i * p for i, p in zip(line, pull, strict=True)) for line in self.inverse]
        offset = [
            k * (math.fsum(r * s for r, s in zip(row, sunk, strict=True)) - shift)
            for k, row, shift in zip(self.stiffness, self.rows, shift_m, strict=True)
        ]
        return Case(
            np.array(offset)[:, None], *self.shares, np.array([1.0 / k for k in self.stiffness])[:, None],
            np.array([shift - gap for shift, gap in zip(shift_m, gap_m, strict=True)])[:, None],
        )  # fmt: skip


@functools.lru_cache(maxsize=512)
def _solved(points: tuple[tuple[float, float, float], ...], ways: tuple[Basis, ...]) -> Solved:
    held = stiff(points, ways)
    constant, per_x, per_y = (np.array(column)[:, None] for column in held.shares)
    return Solved((constant, per_x, per_y), tuple(k for _, _, k in points), held.moved, held.inverse)


def contact(receptor: Receptor) -> Contact:
    """What a receptor stands on and touches."""
    return _contact(receptor.supports, receptor.touches)


@functools.lru_cache(maxsize=64)
def _contact(supports: tuple[Support, ...], touches: tuple[Touch, ...]) -> Contact:
    springs = [t for t in touches if t.stiffness_n_per_m >= _SOFTEST_N_PER_M]
    elements: list[Support | Touch] = [*supports, *springs]
    gap_m = [-s.height_m for s in supports] + [t.gap_m for t in springs]
    play_m = [HOLD_DOWN_M] * len(supports) + [math.inf] * len(springs)
    bonded = [s.anchored for s in supports] + [t.bonded for t in springs]
    away = [FREE if t.gap_m > 0.0 and not t.bonded else PRESSED for t in springs]
    return Contact(
        len(supports),
        tuple((e.x_m, e.y_m, e.stiffness_n_per_m / STANDARD_GRAVITY_M_PER_S2) for e in elements),
        ways_of(tuple((s.x_m, s.y_m) for s in supports))[1],
        np.array(gap_m)[:, None], np.array(play_m)[:, None], np.array(bonded)[:, None],
        (
            math.fsum(t.push_kg for t in touches),
            math.fsum(t.push_kg * t.x_m for t in touches),
            math.fsum(t.push_kg * t.y_m for t in touches),
        ),
        np.array([PRESSED] * len(supports) + away, np.int8).tobytes(),
    )  # fmt: skip
