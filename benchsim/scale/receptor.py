"""The load receptor: a stiff plate on N elastic supports.  Who carries what share of a load.

A share is affine in the load's position, so all loads together act through three sums: mass, mass times
x, mass times y.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass
from fractions import Fraction

from benchsim.scale.parts import Receptor, Support

# Supports nearer together than this stand in one place, and a load this near a line stands on it: no one
# places either more truly.  Common practice, no source.
PLACED_M = 0.005

# Supports that leave their line by less than this part of its length stand on it.  A deck on them would tip
# over a load beside the line long before statics had shared it out: at 1 mm in 8 m, half a metre beside the
# line takes 500 times the load, up and down.  Common practice, no source.
_BESIDE = 1e-3

Basis = tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """The line that supports stand on: from (x_m, y_m) to (x_m + dx_m, y_m + dy_m), the two farthest apart.

    beside_m: how far from it something may stand and still be on it.
    """

    x_m: float
    y_m: float
    dx_m: float
    dy_m: float
    beside_m: float

    def distance_m(self, x_m: float, y_m: float) -> float:
        across = (x_m - self.x_m) * self.dy_m - (y_m - self.y_m) * self.dx_m
        return abs(across) / math.hypot(self.dx_m, self.dy_m)

    def nearest(self, x_m: float, y_m: float) -> tuple[float, float]:
        """The place on the line that is nearest."""
        length_m2 = self.dx_m * self.dx_m + self.dy_m * self.dy_m
        part = ((x_m - self.x_m) * self.dx_m + (y_m - self.y_m) * self.dy_m) / length_m2
        return self.x_m + part * self.dx_m, self.y_m + part * self.dy_m


@dataclass(frozen=True, slots=True)
class Bearing:
    """share of a support = constant + per_x_m * x + per_y_m * y; one entry a support.

    line: what the supports stand on when it is one line; a load beside it would tip the receptor over.
    """

    constant: tuple[float, ...]
    per_x_m: tuple[float, ...]
    per_y_m: tuple[float, ...]
    line: Line | None

    def shares(self, x_m: float, y_m: float) -> tuple[float, ...]:
        return tuple(
            a + b * x_m + c * y_m for a, b, c in zip(self.constant, self.per_x_m, self.per_y_m, strict=True)
        )


def bearing(receptor: Receptor) -> Bearing:
    """How the receptor's supports share a load."""
    return bearing_on(receptor.supports)


@functools.lru_cache(maxsize=64)
def bearing_on(supports: tuple[Support, ...]) -> Bearing:
    """A rigid plate on springs: forces from two moments and a sum, in exact fractions, so that a soft support
    costs no digits.

    N = 1 carries all of it wherever it stands: it is a platform cell, which takes the moment of a load beside
    it in itself; supports in one place do so together and share by stiffness alone.  Supports on one line
    share by the position along the line; what lies across the line is taken by guides that carry no weight.
    Source: statics; a rigid body on springs (the stiffness method).
    Not modelled: a plate that bends or has joints, friction, restraints that carry weight, uplift (a share
    may be negative: the support then pulls), the error of a platform cell under a load beside its middle.
    """
    far = _far_apart(supports)
    line = None
    if far is not None:
        (a, b), extent_m = far, math.dist(*((s.x_m, s.y_m) for s in far))
        line = Line(a.x_m, a.y_m, b.x_m - a.x_m, b.y_m - a.y_m, max(PLACED_M, _BESIDE * extent_m))
        if any(line.distance_m(s.x_m, s.y_m) > _BESIDE * extent_m for s in supports):
            line = None
    # A place (1, x, y) to what the plate can do there: sink, and tilt along a line or both ways.
    one, none = Fraction(1), Fraction(0)
    ways: list[Basis] = [(one, none, none)]
    if line is not None:
        dx, dy = Fraction(line.dx_m), Fraction(line.dy_m)
        ways.append((-(Fraction(line.x_m) * dx + Fraction(line.y_m) * dy), dx, dy))
    elif far is not None:
        ways += [(none, one, none), (none, none, one)]
    return Bearing(*_shared(supports, ways), line)


def _far_apart(supports: tuple[Support, ...]) -> tuple[Support, Support] | None:
    """The two supports farthest apart; None when all stand in one place."""
    pairs = list(itertools.combinations(supports, 2))
    apart_m = [math.dist((a.x_m, a.y_m), (b.x_m, b.y_m)) for a, b in pairs]
    if not pairs or max(apart_m) <= PLACED_M:
        return None
    return pairs[apart_m.index(max(apart_m))]


def _shared(
    supports: tuple[Support, ...], ways: list[Basis]
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Constant, per x and per y of every share, when the plate can give way in these ways."""
    stiffness = [Fraction(s.stiffness_n_per_m) for s in supports]
    moved = [[way[0] + way[1] * Fraction(s.x_m) + way[2] * Fraction(s.y_m) for way in ways] for s in supports]
    size = len(ways)
    none = Fraction(0)
    rows = [
        [sum((k * m[i] * m[j] for k, m in zip(stiffness, moved, strict=True)), none) for j in range(size)]
        + list(ways[i])
        for i in range(size)
    ]
    for pivot in range(size):
        rows[pivot] = [value / rows[pivot][pivot] for value in rows[pivot]]
        for other in range(size):
            if other != pivot:
                factor = rows[other][pivot]
                rows[other] = [a - factor * b for a, b in zip(rows[other], rows[pivot], strict=True)]
    constant, per_x, per_y = (
        tuple(
            float(k * sum((m[i] * rows[i][size + column] for i in range(size)), none))
            for k, m in zip(stiffness, moved, strict=True)
        )
        for column in range(3)
    )
    return constant, per_x, per_y


def shares(receptor: Receptor, x_m: float, y_m: float) -> tuple[float, ...]:
    """What part of a load at (x, y) each support carries.  They add up to 1."""
    return bearing(receptor).shares(x_m, y_m)


def dead_shares_kg(receptor: Receptor) -> tuple[float, ...]:
    """What each support carries of the dead load, which acts at the middle of the receptor."""
    middle = shares(receptor, 0.5 * receptor.length_m, 0.5 * receptor.width_m)
    return tuple(receptor.dead_load_kg * s for s in middle)
