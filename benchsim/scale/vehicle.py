"""A vehicle drives on, brakes, stands, pulls away and drives off.  An axle counts while on the receptor."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Drive

_US = 1e-6


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle on its way over the receptor.

    Its first axle is at x = 0 at start_us and stands at stop_x_m from stop_us to go_us (None: until it is
    sent away).  Where the way to the stop is shorter than its braking distance, it has braked before it
    came.  gone_us: from here on the last axle is past the far end; None as go_us.
    Not modelled: weight that moves between axles under braking, springs, a tyre's footprint (an axle comes
    on and goes off between two samples), lateral position of the two wheels of an axle.
    """

    drive: Drive
    length_m: float
    start_us: int
    stop_us: int
    go_us: int | None
    gone_us: int | None

    @classmethod
    def arrive(cls, drive: Drive, length_m: float, t_us: int) -> Vehicle:
        stop_us = t_us + round(_seconds_to(drive.stop_x_m, drive) / _US)
        vehicle = cls(drive, length_m, t_us, stop_us, None, None)
        return vehicle if drive.stands_us is None else vehicle._leaving(stop_us + drive.stands_us)

    def sent_away(self, t_us: int) -> Vehicle:
        """The same, told to go at t_us: it pulls away from where it stands, or stops and goes at once."""
        if self.go_us is not None and self.go_us <= t_us:
            return self
        return self._leaving(max(t_us, self.stop_us))

    def _leaving(self, go_us: int) -> Vehicle:
        behind_m = max(a.behind_m for a in self.drive.axles)
        way_m = self.length_m + behind_m - self.drive.stop_x_m
        gone_us = go_us + math.ceil(_seconds_to(way_m, self.drive) / _US) + 1
        return replace(self, go_us=go_us, gone_us=gone_us)

    @property
    def name(self) -> str:
        return self.drive.name

    def is_gone(self, t_us: int) -> bool:
        return self.gone_us is not None and t_us >= self.gone_us

    def next_motion_us(self, t_us: int) -> int | None:
        """The first instant from t_us on at which it moves; None: it stands for good, or is gone."""
        if t_us < self.stop_us:
            return t_us
        if self.go_us is None or self.is_gone(t_us):
            return None
        return max(t_us, self.go_us)

    def first_axle_m(self, t_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Where its first axle is.  float64, (n,), along x from the near end."""
        drive, stop_m = self.drive, self.drive.stop_x_m
        v, a = drive.speed_m_per_s, drive.acceleration_m_per_s2
        left_s = (self.stop_us - t_us) * _US
        brakes_s = min(v / a, (self.stop_us - self.start_us) * _US)
        braking_m = 0.5 * a * left_s * left_s
        cruise_m = 0.5 * v * v / a + (left_s - v / a) * v
        at_m = stop_m - np.where(left_s <= brakes_s, braking_m, cruise_m)
        at_m = np.where(left_s <= 0.0, stop_m, at_m)
        if self.go_us is None:
            return at_m
        on_s = (t_us - self.go_us) * _US
        away_m = np.where(on_s <= v / a, 0.5 * a * on_s * on_s, 0.5 * v * v / a + (on_s - v / a) * v)
        return np.where(on_s <= 0.0, at_m, stop_m + away_m)

    def add_to(
        self, mass_kg: NDArray[np.float64], x_kg_m: NDArray[np.float64], t_us: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Add its axles to the sums of mass and of mass times x, in place; gives its mass on the receptor."""
        first_m = self.first_axle_m(t_us)
        present = (t_us > self.start_us) & ~np.asarray(self.gone_us is not None and t_us >= self.gone_us)
        own_kg = np.zeros(len(t_us))
        for axle in self.drive.axles:
            at_m = first_m - axle.behind_m
            on_kg = np.where(present & (at_m >= 0.0) & (at_m <= self.length_m), axle.mass_kg, 0.0)
            own_kg += on_kg
            x_kg_m += on_kg * at_m
        mass_kg += own_kg
        return own_kg


def _seconds_to(way_m: float, drive: Drive) -> float:
    """How long a stop at the end of a way takes, or as long backwards: pulling away over that way."""
    v, a = drive.speed_m_per_s, drive.acceleration_m_per_s2
    ramp_m = 0.5 * v * v / a
    if way_m <= ramp_m:
        return math.sqrt(2.0 * way_m / a)
    return v / a + (way_m - ramp_m) / v
