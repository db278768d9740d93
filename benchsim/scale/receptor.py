"""The load receptor: a stiff plate on N elastic supports.  Who carries what share of a load.

A share is affine in the load's position, so all loads together act through three sums: mass, mass times
x, mass times y.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

from benchsim.scale.parts import Receptor

_COLLINEAR = 1e-12  # determinant over squared trace of the supports' second moments
_ONE_PLACE_M2 = 1e-12  # supports within a micrometre stand in one place


@dataclass(frozen=True, slots=True)
class Bearing:
    """share of a support = constant + per_x_m * x + per_y_m * y; one entry a support."""

    constant: tuple[float, ...]
    per_x_m: tuple[float, ...]
    per_y_m: tuple[float, ...]

    def shares(self, x_m: float, y_m: float) -> tuple[float, ...]:
        return tuple(
            a + b * x_m + c * y_m for a, b, c in zip(self.constant, self.per_x_m, self.per_y_m, strict=True)
        )


@functools.lru_cache(maxsize=64)
def bearing(receptor: Receptor) -> Bearing:
    """How the receptor's supports share a load: a rigid plate on springs, forces from two moments and a sum.

    N = 1 carries all of it wherever it stands; supports in one place share by stiffness alone.  Supports
    on one line share by the position along the line; what lies across the line is taken by guides that
    carry no weight.
    Source: statics; a rigid body on springs (the stiffness method).
    Not modelled: a plate that bends or has joints, friction, restraints that carry weight, uplift (a share
    may be negative: the support then pulls).
    """
    stiffness = [s.stiffness_n_per_m for s in receptor.supports]
    total = math.fsum(stiffness)
    weights = [k / total for k in stiffness]
    mean_x = math.fsum(w * s.x_m for w, s in zip(weights, receptor.supports, strict=True))
    mean_y = math.fsum(w * s.y_m for w, s in zip(weights, receptor.supports, strict=True))
    at = [(s.x_m - mean_x, s.y_m - mean_y) for s in receptor.supports]
    xx, xy, yx, yy = _levers(weights, at)
    per_x = [w * (xx * x + yx * y) for w, (x, y) in zip(weights, at, strict=True)]
    per_y = [w * (xy * x + yy * y) for w, (x, y) in zip(weights, at, strict=True)]
    constant = [w - b * mean_x - c * mean_y for w, b, c in zip(weights, per_x, per_y, strict=True)]
    return Bearing(tuple(constant), tuple(per_x), tuple(per_y))


def _levers(weights: list[float], at: list[tuple[float, float]]) -> tuple[float, float, float, float]:
    """The inverse of the supports' second moments about their centre, or of its part along their line."""
    xx = math.fsum(w * x * x for w, (x, _) in zip(weights, at, strict=True))
    xy = math.fsum(w * x * y for w, (x, y) in zip(weights, at, strict=True))
    yy = math.fsum(w * y * y for w, (_, y) in zip(weights, at, strict=True))
    spread = xx + yy
    if spread <= _ONE_PLACE_M2:
        return (0.0, 0.0, 0.0, 0.0)
    determinant = xx * yy - xy * xy
    if determinant > _COLLINEAR * spread * spread:
        return (yy / determinant, -xy / determinant, -xy / determinant, xx / determinant)
    # On one line the second moments are spread * (unit along) (unit along)^T.
    return (xx / spread / spread, xy / spread / spread, xy / spread / spread, yy / spread / spread)


def shares(receptor: Receptor, x_m: float, y_m: float) -> tuple[float, ...]:
    """What part of a load at (x, y) each support carries.  They add up to 1."""
    return bearing(receptor).shares(x_m, y_m)


def dead_shares_kg(receptor: Receptor) -> tuple[float, ...]:
    """What each support carries of the dead load, which acts at the middle of the receptor."""
    middle = shares(receptor, 0.5 * receptor.length_m, 0.5 * receptor.width_m)
    return tuple(receptor.dead_load_kg * s for s in middle)
