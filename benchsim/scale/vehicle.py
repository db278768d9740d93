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
    came.  gone_us: from here on the last axle is past the far end; None as go_us.  edges_us: by axle, when
    it comes on and when it goes off (None: as go_us); it counts after the one and up to the other.
    Not modelled: weight that moves between axles under braking, springs, a tyre's footprint (an axle comes
    on and goes off at one instant), lateral position of the two wheels of an axle.
    """

    drive: Drive
    length_m: float
    start_us: int
    stop_us: int
    go_us: int | None
    gone_us: int | None
    edges_us: tuple[tuple[int | None, int | None], ...]

    @property
    def mass_kg(self) -> float:
        """Of all its axles, on the receptor or not."""
        return sum(axle.mass_kg for axle in self.drive.axles)

    @classmethod
    def arrive(cls, drive: Drive, length_m: float, t_us: int) -> Vehicle:
        stop_us = t_us + round(_seconds_to(drive.stop_x_m, drive) / _US)
        vehicle = cls(drive, length_m, t_us, stop_us, None, None, ())._with_edges()
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
        return replace(self, go_us=go_us, gone_us=gone_us)._with_edges()

    def _with_edges(self) -> Vehicle:
        stop_m = self.drive.stop_x_m
        edges_us = []
        for axle in self.drive.axles:
            on_m, off_m = axle.behind_m, self.length_m + axle.behind_m
            comes_us = self._coming_us(on_m) if on_m <= stop_m else self._leaving_us(on_m)
            edges_us.append((comes_us, self._coming_us(off_m) if off_m < stop_m else self._leaving_us(off_m)))
        return replace(self, edges_us=tuple(edges_us))

    def _coming_us(self, first_m: float) -> int:
        """When its first axle is here, on its way to the stop."""
        return self.stop_us - round(_seconds_to(self.drive.stop_x_m - first_m, self.drive) / _US)

    def _leaving_us(self, first_m: float) -> int | None:
        """When its first axle is here, on its way from the stop."""
        if self.go_us is None:
            return None
        return self.go_us + round(_seconds_to(first_m - self.drive.stop_x_m, self.drive) / _US)

    @property
    def name(self) -> str:
        return self.drive.name

    def is_gone(self, t_us: int) -> bool:
        return self.gone_us is not None and t_us >= self.gone_us

    def next_motion_us(self, t_us: int) -> int | None:
        """The first instant from t_us on at which it moves; None: it stands for good, or is gone."""
        if t_us <= self.stop_us:  # an axle may come on at the very stop
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

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float]]:
        """Axles that come on or go off at first_us or later, before end_us: when, mass added, x."""
        found = []
        for axle, edges_us in zip(self.drive.axles, self.edges_us, strict=True):
            for t_us, mass_kg, x_m in zip(
                edges_us, (axle.mass_kg, -axle.mass_kg), (0.0, self.length_m), strict=True
            ):
                if t_us is not None and first_us <= t_us < end_us:
                    found.append((t_us, mass_kg, x_m))
        return found

    def add_to(
        self, mass_kg: NDArray[np.float64], x_kg_m: NDArray[np.float64], t_us: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Add its axles to the sums of mass and of mass times x, in place; gives its mass on the receptor.

        t_us: rising.
        """
        first_m = self.first_axle_m(t_us)
        own_kg = np.zeros(len(t_us))
        for axle, (on_us, off_us) in zip(self.drive.axles, self.edges_us, strict=True):
            if on_us is None:
                continue
            begin = int(np.searchsorted(t_us, on_us, side="right"))
            end = len(t_us) if off_us is None else int(np.searchsorted(t_us, off_us, side="right"))
            own_kg[begin:end] += axle.mass_kg
            x_kg_m[begin:end] += axle.mass_kg * (first_m[begin:end] - axle.behind_m)
        mass_kg += own_kg
        return own_kg


def _seconds_to(way_m: float, drive: Drive) -> float:
    """How long a stop at the end of a way takes, or as long backwards: pulling away over that way."""
    v, a = drive.speed_m_per_s, drive.acceleration_m_per_s2
    ramp_m = 0.5 * v * v / a
    if way_m <= ramp_m:
        return math.sqrt(2.0 * way_m / a)
    return v / a + (way_m - ramp_m) / v
