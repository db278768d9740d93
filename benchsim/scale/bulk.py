"""Bulk material that runs onto the receptor and off it: mass that grows, and the push of what falls."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Discharge, Fill
from benchsim.ground.errors import BadInput
from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2

Floats = NDArray[np.float64]
Sums = tuple[Floats, Floats, Floats]
_US = 1e-6


@dataclass(frozen=True, slots=True)
class Flow:
    """A stream from begins_us to ends_us, as it arrives; rate_kg_per_s is negative where it leaves.

    push_kg: what it presses with beside its mass, mass rate times speed of the fall.
    """

    begins_us: int
    ends_us: int
    rate_kg_per_s: float
    push_kg: float = 0.0

    def mass_kg(self, t_us: NDArray[np.int64]) -> Floats:
        gone_us = np.minimum(np.maximum(t_us - self.begins_us, 0), self.ends_us - self.begins_us)
        found: Floats = self.rate_kg_per_s * _US * gone_us
        return found


@dataclass(frozen=True, slots=True)
class Bulk:
    """A heap in one place, filled and emptied by flows.

    What is in the air is not on the receptor yet.  While a stream runs, its push is just what it has in the
    air: mass rate x speed / g = mass rate x time of the fall, so a closed gate shows what will have come.
    Source: momentum of a falling stream.  Not modelled: a heap that grows towards the gate, what a stream
    that runs out pulls along, air.
    """

    name: str
    x_m: float
    y_m: float
    flows: tuple[Flow, ...]

    @property
    def mass_kg(self) -> float:
        """What it comes to in the end."""
        return math.fsum(f.rate_kg_per_s * _US * (f.ends_us - f.begins_us) for f in self.flows)

    @classmethod
    def begun(cls, fill: Fill, t_us: int) -> Bulk:
        return cls(fill.name, fill.x_m, fill.y_m, _flows(fill, t_us))

    def filled(self, fill: Fill, t_us: int) -> Bulk:
        return replace(self, flows=(*self.flows, *_flows(fill, t_us)))

    def emptied(self, command: Discharge, t_us: int) -> Bulk:
        """Raises BadInput: it still fills, or has not that much."""
        if self.next_motion_us(t_us) is not None:
            raise BadInput(f"{self.name!r} is still filled or emptied", "wait until that is over")
        there = self.mass_kg
        mass_kg = there if command.mass_kg is None else command.mass_kg
        if mass_kg > there + 1e-6:
            raise BadInput(
                f"{self.name!r} holds {there:.6g} kg, {mass_kg:g} kg are to leave", "no more than it holds"
            )
        lasts_us = max(1, round(mass_kg / command.rate_kg_per_s / _US))
        rate = -mass_kg / (lasts_us * _US)
        return replace(self, flows=(*self.flows, Flow(t_us, t_us + lasts_us, rate)))

    def is_gone(self, t_us: int) -> bool:
        return False

    def next_motion_us(self, t_us: int) -> int | None:
        return min((max(t_us, f.begins_us) for f in self.flows if t_us <= f.ends_us), default=None)

    def add_to(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        own_kg = np.zeros(len(t_us))
        for flow in self.flows:
            own_kg += flow.mass_kg(t_us)
        self._add(sums, own_kg)

    def press_on(self, sums: Sums, t_us: NDArray[np.int64]) -> None:
        self.add_to(sums, t_us)
        for flow in self.flows:
            if flow.push_kg:
                runs = (t_us > flow.begins_us) & (t_us <= flow.ends_us)
                self._add(sums, np.where(runs, flow.push_kg, 0.0))

    def _add(self, sums: Sums, own_kg: Floats) -> None:
        mass_kg, x_kg_m, y_kg_m = sums
        mass_kg += own_kg
        x_kg_m += own_kg * self.x_m
        y_kg_m += own_kg * self.y_m

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        return [
            (t_us, push_kg, self.x_m, self.y_m)
            for f in self.flows
            for t_us, push_kg in ((f.begins_us, f.push_kg), (f.ends_us, -f.push_kg))
            if push_kg and first_us <= t_us < end_us
        ]


def _flows(fill: Fill, t_us: int) -> tuple[Flow, ...]:
    falls_us = round(math.sqrt(2.0 * fill.fall_m / STANDARD_GRAVITY_M_PER_S2) / _US)
    speed = STANDARD_GRAVITY_M_PER_S2 * falls_us * _US
    parts = [
        (fill.mass_kg - fill.dribble_kg, fill.rate_kg_per_s),
        (fill.dribble_kg, fill.dribble_rate_kg_per_s),
    ]
    flows = []
    for mass_kg, rate_kg_per_s in parts:
        if mass_kg > 0.0:
            lasts_us = max(1, round(mass_kg / rate_kg_per_s / _US))
            rate = mass_kg / (lasts_us * _US)
            begins_us = t_us + falls_us
            flows.append(
                Flow(begins_us, begins_us + lasts_us, rate, rate * speed / STANDARD_GRAVITY_M_PER_S2)
            )
            t_us += lasts_us
    return tuple(flows)
