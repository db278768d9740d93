"""A vehicle drives on, brakes, stands, pulls away and drives off.  An axle counts while on the receptor."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Drive
from benchsim.scale.ride import Ride, ride_of

Sums = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]
_US = 1e-6


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle on its way over the receptor.

    Its first axle is at x = 0 at start_us and stands at stop_x_m from stop_us to go_us (None: until it is
    sent away).  Where the way to the stop is shorter than its braking distance, it has braked before it
    came.  gone_us: from here on the last axle is past the far end; None as go_us.  edges_us: by axle, when
    it comes on and when it goes off (None: as go_us); it counts after the one and up to the other.
    What the ground carries of an axle beside its standing mass (braking, the body's swing) stands in ride.py.
    Not modelled: an axle that comes on bit by bit, lateral position of the two wheels of an axle.
    """

    drive: Drive
    length_m: float
    start_us: int
    stop_us: int
    go_us: int | None
    gone_us: int | None
    edges_us: tuple[tuple[int | None, int | None], ...]
    ride: Ride | None = None

    @property
    def mass_kg(self) -> float:
        """Of all its axles, on the receptor or not."""
        return sum(axle.mass_kg for axle in self.drive.axles)

    @classmethod
    def arrive(cls, drive: Drive, length_m: float, t_us: int) -> Vehicle:
        if drive.begins_m:
            # From this deck it looks as if every axle were so much further behind.
            axles = tuple(replace(a, behind_m=a.behind_m + drive.begins_m) for a in drive.axles)
            drive = replace(drive, axles=axles)
        stop_us = t_us + round(_seconds_to(drive.stop_x_m, drive) / _US)
        vehicle = cls(drive, length_m, t_us, stop_us, None, None, ())._with_edges()
        past_m = length_m + max(a.behind_m for a in drive.axles)
        if past_m < drive.stop_x_m:  # it stops beyond this deck
            return replace(vehicle, gone_us=vehicle._coming_us(past_m) + 1)
        return vehicle if drive.stands_us is None else vehicle._leaving(stop_us + drive.stands_us)

    def sent_away(self, t_us: int) -> Vehicle:
        """The same, told to go at t_us: it pulls away from where it stands, or stops and goes at once."""
        if self.gone_us is not None and (self.go_us is None or self.go_us <= t_us):
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
        v_s = self.drive.speed_m_per_s / self.drive.acceleration_m_per_s2
        whole_us = round(v_s / _US)
        brakes_us = self.stop_us - whole_us if self.stop_us - whole_us >= self.start_us else None
        ends_us = None if self.go_us is None else self.go_us + whole_us
        ride = ride_of(self.drive, brakes_us, self.stop_us, self.go_us, ends_us, self._pace_m_per_s(edges_us))
        return replace(self, edges_us=tuple(edges_us), ride=ride)

    def _pace_m_per_s(self, edges_us: list[tuple[int | None, int | None]]) -> list[float]:
        """How fast it is as each axle comes on."""
        v, a = self.drive.speed_m_per_s, self.drive.acceleration_m_per_s2
        paces = []
        for on_us, _ in edges_us:
            rest_us = 0 if on_us is None else self.stop_us - on_us
            if on_us is not None and self.go_us is not None and on_us > self.stop_us:
                rest_us = on_us - self.go_us
            paces.append(min(v, a * abs(rest_us) * _US))
        return paces

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
        if self.is_gone(t_us):
            return None
        if t_us <= self.stop_us:  # an axle may come on at the very stop
            return t_us
        if self.go_us is None:
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

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        """What comes on or goes off at once at first_us or later, before end_us: when, mass added, x, y."""
        found = []
        for number, (axle, edges_us) in enumerate(zip(self.drive.axles, self.edges_us, strict=True)):
            for t_us, sign, x_m in zip(edges_us, (1.0, -1.0), (0.0, self.length_m), strict=True):
                if t_us is not None and first_us <= t_us < end_us:
                    mass_kg = axle.mass_kg + self._more_kg(number, t_us + 1)
                    found.append((t_us, sign * mass_kg, x_m, self.drive.y_m))
            if (level := self._levels_out(number)) is not None and first_us <= level[0] < end_us:
                x_m = float(self.first_axle_m(np.array([level[0]]))[0]) - axle.behind_m
                found.append((level[0], level[1], x_m, self.drive.y_m))
        return found

    def _more_kg(self, number: int, t_us: int) -> float:
        """What an axle weighs beside its standing mass."""
        if self.ride is None:
            return 0.0
        return float(self.ride.more_kg(number, np.array([t_us]), self.edges_us[number][0])[0])

    def _levels_out(self, number: int) -> tuple[int, float] | None:
        """When an axle is over the edge, while on the receptor, and what that changes at once."""
        on_us, off_us = self.edges_us[number]
        level = None if self.ride is None or on_us is None else self.ride.levels_out(number)
        if level is None or on_us is None or (off_us is not None and on_us + level[0] >= off_us):
            return None
        return on_us + level[0], level[1]

    def add_to(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        """Add its axles to the sums of mass, mass times x and mass times y, in place.  t_us: rising."""
        self._add(sums, t_us, None)

    def press_on(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        """The same of what it presses on the receptor with."""
        self._add(sums, t_us, self.ride)

    def _add(self, sums: Sums, t_us: NDArray[np.int64], ride: Ride | None) -> None:
        mass_kg, x_kg_m, y_kg_m = sums
        first_m = self.first_axle_m(t_us)
        own_kg = np.zeros(len(t_us))
        for number, (axle, (on_us, off_us)) in enumerate(zip(self.drive.axles, self.edges_us, strict=True)):
            if on_us is None:
                continue
            begin = int(np.searchsorted(t_us, on_us, side="right"))
            end = len(t_us) if off_us is None else int(np.searchsorted(t_us, off_us, side="right"))
            if ride is not None and begin < end:
                weight_kg = axle.mass_kg + ride.more_kg(number, t_us[begin:end], on_us)
                own_kg[begin:end] += weight_kg
                x_kg_m[begin:end] += weight_kg * (first_m[begin:end] - axle.behind_m)
                continue
            own_kg[begin:end] += axle.mass_kg
            x_kg_m[begin:end] += axle.mass_kg * (first_m[begin:end] - axle.behind_m)
        mass_kg += own_kg
        y_kg_m += own_kg * self.drive.y_m


def _seconds_to(way_m: float, drive: Drive) -> float:
    """How long a stop at the end of a way takes, or as long backwards: pulling away over that way."""
    v, a = drive.speed_m_per_s, drive.acceleration_m_per_s2
    ramp_m = 0.5 * v * v / a
    if way_m <= ramp_m:
        return math.sqrt(2.0 * way_m / a)
    return v / a + (way_m - ramp_m) / v
