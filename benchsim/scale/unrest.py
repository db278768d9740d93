"""What shakes the deck from outside: wind that blows over it, and a floor that trembles beneath it.

Both come from named child streams and are the same for every station: they are of the place, not of a cell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.randomness import Streams
from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2, Site, Vibration, Wind
from benchsim.scale.processes import Band, Wander
from benchsim.scale.recursion import rounded

Floats = NDArray[np.float64]

AIR_KG_PER_M3 = 1.2  # at 20 C; as conventional mass takes it (D 28)
WIND_STEP_US = 50_000

# Kaimal's spectrum as a sum of first-order lags: (corner as f = n z / U, share of the variance).  Fitted by
# least squares; within 4 % of the closed form for f from 1e-4 to 30.
LAGS = (
    (0.00631, 0.086657), (0.02772, 0.46228), (0.1218, 0.3299), (0.5353, 0.075532), (2.352, 0.029899),
    (10.33, 0.0098288), (45.41, 0.0038745), (199.5, 0.0014905),
)  # fmt: skip


def kaimal(f: Floats) -> Floats:
    """The spectrum of wind along its way, S(n) U / (z var), one-sided, at f = n z / U; its integral is 1.

    Source: Kaimal et al. (1972), n S / u*^2 = 105 f / (1 + 33 f)^(5/3), from memory; divided by its variance.
    """
    return 22.0 / (1.0 + 33.0 * f) ** (5.0 / 3.0)


class Gusts:
    """The speed of the wind about its mean, in units of its standard deviation.

    What is faster than its grid of 20 a second is left out: over a deck it is not the same everywhere, and
    evens out.
    """

    def __init__(self, wind: Wind, streams: Streams, start_us: int) -> None:
        per_f = wind.speed_m_per_s / wind.height_m
        fastest_hz = 0.5e6 / WIND_STEP_US
        kept = [(f * per_f, share) for f, share in LAGS if f * per_f <= fastest_hz] or [
            (LAGS[0][0] * per_f, 1.0)
        ]
        self._shares = [rounded(math.sqrt(share)) for _, share in kept]
        corners_hz = tuple(min(corner, fastest_hz) for corner, _ in kept)
        self._lags = Wander(streams, corners_hz, WIND_STEP_US, start_us)

    def at(self, t_us: NDArray[np.int64]) -> Floats:
        total = np.zeros(len(t_us))
        for share, lag in zip(self._shares, self._lags.at(t_us), strict=True):
            total += share * lag
        return total


@dataclass(frozen=True, eq=False, slots=True)
class Unrest:
    """The wind and the trembling of one site from start_us on."""

    wind: Wind | None
    vibration: Vibration | None
    gusts: Gusts | None
    tremor: Band | None

    @classmethod
    def of(cls, site: Site, streams: Streams, start_us: int) -> Unrest | None:
        """None: the air is still and the floor firm.  Draws below streams "wind" and "floor", start_us."""
        wind, vibration = site.wind, site.vibration
        if wind is None and vibration is None:
            return None
        gusts = tremor = None
        if wind is not None and wind.turbulence > 0.0 and wind.speed_m_per_s > 0.0:
            gusts = Gusts(wind, streams.child("wind", start_us), start_us)
        if vibration is not None:
            tremor = Band(
                streams.child("floor", start_us), vibration.frequency_hz, vibration.bandwidth_hz, start_us
            )
        return cls(wind, vibration, gusts, tremor)

    def lift_kg(self, t_us: NDArray[np.int64]) -> Floats | float:
        """What the wind lifts the deck by: density / 2 x speed squared x coefficient and area, gusts squared
        with the mean."""
        wind = self.wind
        if wind is None:
            return 0.0
        speed: Floats | float = wind.speed_m_per_s
        if self.gusts is not None:
            speed = speed * (1.0 + wind.turbulence * self.gusts.at(t_us))
        return 0.5 * AIR_KG_PER_M3 / STANDARD_GRAVITY_M_PER_S2 * wind.lift_area_m2 * (speed * speed)

    def heavier(self, t_us: NDArray[np.int64]) -> Floats | float:
        """By what factor all that stands on the floor is heavier while the floor goes up ever faster.

        Seen from the floor, a deck on it is as one under more gravity; its own swing follows by its second
        order as with any load.  Source: mechanics in an accelerated frame.
        """
        if self.tremor is None or self.vibration is None:
            return 1.0
        per_g = self.vibration.acceleration_m_per_s2 / STANDARD_GRAVITY_M_PER_S2
        return 1.0 + per_g * self.tremor.at(t_us)
