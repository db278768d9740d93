"""A body on springs and dampers: its answer to a road that rises and to a push that comes at once.

By tables of the closed forms, straight in between: no sine and no power of whole arrays.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_A_PERIOD = 512
_LEFT = math.log(1e7)


@dataclass(frozen=True, slots=True)
class Springs:
    """Answers over their angle w t, at 512 points a period, until they have died away.

    lack: what the force still lacks of its end after a push of 1.  bump: force over mass and w, after the
    road has begun to rise with speed 1.  per_us: points a microsecond.
    """

    angle_per_s: float
    per_us: float
    lack: Floats
    bump: Floats

    def pushed(self, since_us: Floats) -> Floats:
        """Force after a push of 1 at 0, springs and dampers together; 0 before it."""
        return np.where(since_us < 0.0, 0.0, 1.0 - self._read(self.lack, since_us))

    def bumped(self, since_us: Floats) -> Floats:
        """Force over mass, in m/s2, after the road has begun at 0 to rise at 1 m/s; 0 up to it.

        It begins with what the damper does: a jump.
        """
        return np.where(since_us <= 0.0, 0.0, self.angle_per_s * self._read(self.bump, since_us))

    def _read(self, table: Floats, since_us: Floats) -> Floats:
        at = np.minimum(np.maximum(since_us * self.per_us, 0.0), float(len(table) - 2))
        low = at.astype(np.intp)
        found: Floats = table[low] + (at - low) * (table[low + 1] - table[low])
        return found


@functools.lru_cache(maxsize=32)
def springs(frequency_hz: float, damping_ratio: float) -> Springs:
    """A mass on a spring and a damper side by side, damping ratio D below 1.

    Force of both on the ground by base movement: m s^2 (2 D w s + w^2) / (s^2 + 2 D w s + w^2).  Over a long
    time a bump's push is nothing: the body has no more momentum after it than before.
    Source: textbook base excitation of one mass.
    """
    own = math.sqrt(1.0 - damping_ratio * damping_ratio)
    periods = math.ceil(_LEFT / (2.0 * math.pi * damping_ratio))
    lack, bump = [], []
    for point in range(periods * _A_PERIOD + 1):
        angle = 2.0 * math.pi * point / _A_PERIOD
        fall = math.exp(-damping_ratio * angle)
        even, odd = fall * math.cos(own * angle), fall * math.sin(own * angle) / own
        lack.append(round(even - damping_ratio * odd, 12))
        bump.append(round(2.0 * damping_ratio * even + (1.0 - 2.0 * damping_ratio * damping_ratio) * odd, 12))
    for table in (lack, bump):
        table.extend((0.0, 0.0))
    return Springs(
        2.0 * math.pi * frequency_hz, frequency_hz * _A_PERIOD * 1e-6, np.array(lack), np.array(bump)
    )
