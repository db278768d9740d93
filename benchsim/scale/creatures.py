"""What moves by itself on the receptor: people who walk over it, animals that will not stand still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Roam, Walk
from benchsim.ground.randomness import Streams
from benchsim.scale.parts import Receptor
from benchsim.scale.processes import TURN, Band, Wander, phases, sine

Floats = NDArray[np.float64]
Sums = tuple[Floats, Floats, Floats]
_US = 1e-6

# The second and third harmonic of a step over the weight, each a quarter of its own turn late.  Source:
# Bachmann and Ammann, Vibrations in Structures (1987), walking; 0.4 for the first at 2 Hz.  From memory.
_HARMONICS = ((2, 0.1), (3, 0.1))
_QUARTER = np.uint64(TURN // 4)

# How an animal moves: how long it stays in a place, and about which pace it shifts its weight.  Common
# practice, no source.
_WANDERS_HZ = 0.05
_WANDER_STEP_US = 50_000
_SHIFTS_HZ, _SHIFTS_WIDE_HZ = 1.3, 1.5


@dataclass(frozen=True, slots=True)
class Walker:
    """Somebody on the way from x = 0 to the far end, on the deck after on_us and up to off_us.

    Not modelled: one foot beside the other, a pace that varies.
    """

    walk: Walk
    on_us: int
    off_us: int

    @classmethod
    def arrive(cls, walk: Walk, length_m: float, t_us: int) -> Walker:
        return cls(walk, t_us, t_us + max(1, round(length_m / walk.speed_m_per_s / _US)))

    @property
    def name(self) -> str:
        return self.walk.name

    @property
    def mass_kg(self) -> float:
        return self.walk.mass_kg

    def is_gone(self, t_us: int) -> bool:
        return t_us > self.off_us

    def next_motion_us(self, t_us: int) -> int | None:
        return None if self.is_gone(t_us) else t_us

    def add_to(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        self._add(sums, t_us, np.full(len(t_us), self.mass_kg))

    def press_on(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        self._add(sums, t_us, self._weight_kg(t_us))

    def _add(self, sums: Sums, t_us: NDArray[np.int64], weight_kg: Floats) -> None:
        there_kg = np.where((t_us > self.on_us) & (t_us <= self.off_us), weight_kg, 0.0)
        mass_kg, x_kg_m, y_kg_m = sums
        mass_kg += there_kg
        x_kg_m += there_kg * self._x_m(t_us)
        y_kg_m += there_kg * self.walk.y_m

    def _x_m(self, t_us: NDArray[np.int64]) -> Floats:
        return np.asarray((t_us - self.on_us) * (self.walk.speed_m_per_s * _US), np.float64)

    def _weight_kg(self, t_us: NDArray[np.int64]) -> Floats:
        """Weight and the harmonics of its steps."""
        since_us = np.maximum(t_us - self.on_us, 0)
        factor: Floats = 1.0 + self.walk.dynamic * sine(phases(since_us, self.walk.pace_hz))
        for number, size in _HARMONICS:
            part = size * self.walk.dynamic / 0.4
            factor = factor - part * sine(phases(since_us, number * self.walk.pace_hz) + _QUARTER)
        return self.mass_kg * factor

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        found = []
        for t_us, sign in ((self.on_us, 1.0), (self.off_us, -1.0)):
            if first_us <= t_us < end_us:
                at = np.array([t_us])
                found.append(
                    (t_us, sign * float(self._weight_kg(at)[0]), float(self._x_m(at)[0]), self.walk.y_m)
                )
        return found


@dataclass(frozen=True, eq=False, slots=True)
class Animal:
    """An animal that stays on the deck, wanders about a place and shifts its weight."""

    roam: Roam
    on_us: int
    length_m: float
    width_m: float
    place: Wander
    weight: Band

    @classmethod
    def arrive(cls, roam: Roam, receptor: Receptor, streams: Streams, t_us: int) -> Animal:
        own = streams.child("load", roam.name, t_us)
        return cls(
            roam, t_us, receptor.length_m, receptor.width_m,
            Wander(own.child("place"), (_WANDERS_HZ, _WANDERS_HZ), _WANDER_STEP_US, t_us),
            Band(own.child("weight"), _SHIFTS_HZ, _SHIFTS_WIDE_HZ, t_us),
        )  # fmt: skip

    @property
    def name(self) -> str:
        return self.roam.name

    @property
    def mass_kg(self) -> float:
        return self.roam.mass_kg

    def is_gone(self, t_us: int) -> bool:
        return False

    def next_motion_us(self, t_us: int) -> int | None:
        return t_us

    def add_to(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        self._add(sums, t_us, np.full(len(t_us), self.mass_kg))

    def press_on(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        restless = self.roam.restless * self.weight.at(np.maximum(t_us, self.on_us))
        self._add(sums, t_us, self.mass_kg * (1.0 + restless))

    def _add(self, sums: Sums, t_us: NDArray[np.int64], weight_kg: Floats) -> None:
        off_x, off_y = self.roam.reach_m * self.place.at(np.maximum(t_us, self.on_us))
        there_kg = np.where(t_us > self.on_us, weight_kg, 0.0)
        mass_kg, x_kg_m, y_kg_m = sums
        mass_kg += there_kg
        x_kg_m += there_kg * np.minimum(np.maximum(self.roam.x_m + off_x, 0.0), self.length_m)
        y_kg_m += there_kg * np.minimum(np.maximum(self.roam.y_m + off_y, 0.0), self.width_m)

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        if not first_us <= self.on_us < end_us:
            return []
        sums = np.zeros(1), np.zeros(1), np.zeros(1)
        self.press_on(sums, np.array([self.on_us + 1]))
        mass_kg, x_kg_m, y_kg_m = (float(s[0]) for s in sums)
        return [(self.on_us, mass_kg, x_kg_m / mass_kg, y_kg_m / mass_kg)] if mass_kg else []
