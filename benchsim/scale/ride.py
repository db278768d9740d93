"""What the ground carries of a vehicle's axles beside their standing mass: braking, pulling away, an edge.

Source: mechanics of one rigid body that pitches on its springs, and of one body an axle that meets a step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Drive
from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2
from benchsim.scale.springs import Springs, springs

Floats = NDArray[np.float64]
_US = 1e-6

# Over which length a tyre takes an edge, and the longest time for it.  Common practice, no source.
FOOTPRINT_M = 0.25
_LONGEST_S = 5.0


@dataclass(frozen=True, slots=True)
class Ride:
    """forward_kg: by axle, what a braking of 1 m/s2 shifts onto it.  pushes: (time, change of braking in
    m/s2); None: it has held for ever.  bumps: by axle, (over how long it takes the edge in us, what a rise of
    1 m/s adds, in kg s2/m), None for none.  springs: None of a stiff body.
    """

    forward_kg: tuple[float, ...]
    pushes: tuple[tuple[int | None, float], ...]
    bumps: tuple[tuple[int, float] | None, ...]
    springs: Springs | None

    def more_kg(self, axle: int, t_us: NDArray[np.int64], on_us: int | None) -> Floats:
        """What an axle, on the deck since on_us, weighs beside its standing mass, (n,)."""
        more = np.zeros(len(t_us))
        if self.forward_kg[axle]:
            for at_us, change in self.pushes:
                more += self.forward_kg[axle] * change * self._pushed(t_us, at_us)
        bump = self.bumps[axle]
        if bump is not None and on_us is not None and self.springs is not None:
            lasts_us, size = bump
            since_us = (t_us - on_us).astype(np.float64)
            more += size * (self.springs.bumped(since_us) - self.springs.bumped(since_us - lasts_us))
        return more

    def levels_out(self, axle: int) -> tuple[int, float] | None:
        """When, after it came on, an axle is over the edge, and by what its damper's push changes then."""
        bump = self.bumps[axle]
        if bump is None or self.springs is None:
            return None
        lasts_us, size = bump
        return lasts_us, -size * float(self.springs.bumped(np.array([1e-3]))[0])

    def _pushed(self, t_us: NDArray[np.int64], at_us: int | None) -> Floats | float:
        if at_us is None:
            return 1.0
        if self.springs is None:
            return (t_us > at_us).astype(np.float64)
        return self.springs.pushed((t_us - at_us).astype(np.float64))


def forward_kg(drive: Drive) -> tuple[float, ...]:
    """What braking at 1 m/s2 shifts onto each axle: none in sum, and in balance with the pitching moment.

    Axles carry as springs in proportion to their standing mass.
    """
    axles = drive.axles
    whole = math.fsum(a.mass_kg for a in axles)
    middle_m = math.fsum(a.mass_kg * a.behind_m for a in axles) / whole
    spread = math.fsum(a.mass_kg * (a.behind_m - middle_m) ** 2 for a in axles)
    if spread <= 1e-9 * whole:
        return (0.0,) * len(axles)
    per_m = whole * drive.centre_height_m / STANDARD_GRAVITY_M_PER_S2 / spread
    return tuple(per_m * a.mass_kg * (middle_m - a.behind_m) for a in axles)


def ride_of(
    drive: Drive,
    brakes_us: int | None,
    stop_us: int,
    go_us: int | None,
    ends_us: int | None,
    paces: list[float],
) -> Ride | None:
    """How a vehicle rides that brakes from brakes_us (None: since ever) to stop_us and pulls away from go_us
    to ends_us.  paces: m/s, as each axle comes on.  None: its axles weigh what they do standing."""
    if not drive.centre_height_m and not (drive.edge_step_m and drive.springs_hz):
        return None
    a = drive.acceleration_m_per_s2
    pushes: list[tuple[int | None, float]] = [(brakes_us, a), (stop_us, -a)]
    if go_us is not None and ends_us is not None:
        pushes += [(go_us, -a), (ends_us, a)]
    bumps: list[tuple[int, float] | None] = []
    for axle, pace in zip(drive.axles, paces, strict=True):
        if not (drive.edge_step_m and drive.springs_hz):
            bumps.append(None)
            continue
        lasts_s = min(_LONGEST_S, FOOTPRINT_M / pace) if pace > 0.0 else _LONGEST_S
        size = axle.mass_kg * drive.edge_step_m / lasts_s / STANDARD_GRAVITY_M_PER_S2
        bumps.append((round(lasts_s / _US), size))
    on = springs(drive.springs_hz, drive.springs_damping) if drive.springs_hz else None
    return Ride(forward_kg(drive), tuple(pushes), tuple(bumps), on)
