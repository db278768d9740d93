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


def bearing_on(supports: tuple[Support, ...]) -> Bearing:
    """A rigid plate on springs: forces from two moments and a sum, in exact fractions, so that a soft support
    costs no digits.

    N = 1 carries all of it wherever it stands: it is a platform cell, which takes the moment of a load beside
    it in itself; supports in one place do so together and share by stiffness alone.  Supports on one line
    share by the position along the line; what lies across the line is taken by guides that carry no weight.
    Source: statics; a rigid body on springs (the stiffness method).
    All supports bear here, and pull where a share is negative; what a deck that lifts off does stands in
    contact.py.  Not modelled: a plate that bends or has joints, restraints that carry weight, the error of a
    platform cell under a load beside its middle.
    """
    return _bearing(tuple((s.x_m, s.y_m, s.stiffness_n_per_m) for s in supports))


Points = tuple[tuple[float, float, float], ...]


@functools.lru_cache(maxsize=64)
def _bearing(points: Points) -> Bearing:
    line, ways = ways_of(tuple((x, y) for x, y, _ in points))
    return Bearing(*stiff(points, ways).shares, line)


def ways_of(spots: tuple[tuple[float, float], ...]) -> tuple[Line | None, tuple[Basis, ...]]:
    """What a plate on these spots can do: sink, and tilt along their line or both ways.

    A way takes a place (1, x, y) to how far it moves there.
    """
    one, none = Fraction(1), Fraction(0)
    sink: Basis = (one, none, none)
    far = _far_apart(spots)
    if far is None:
        return None, (sink,)
    (ax, ay), (bx, by) = far
    extent_m = math.dist(*far)
    line = Line(ax, ay, bx - ax, by - ay, max(PLACED_M, _BESIDE * extent_m))
    if any(line.distance_m(x, y) > _BESIDE * extent_m for x, y in spots):
        return None, (sink, (none, one, none), (none, none, one))
    dx, dy = Fraction(line.dx_m), Fraction(line.dy_m)
    return line, (sink, (-(Fraction(line.x_m) * dx + Fraction(line.y_m) * dy), dx, dy))


def _far_apart(
    spots: tuple[tuple[float, float], ...],
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The two spots farthest apart; None when all are in one place."""
    pairs = list(itertools.combinations(spots, 2))
    apart_m = [math.dist(a, b) for a, b in pairs]
    if not pairs or max(apart_m) <= PLACED_M:
        return None
    return pairs[apart_m.index(max(apart_m))]


Columns = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Stiff:
    """A plate on springs, solved without rounding.

    shares: constant, per x and per y of every spring's share.  moved: by spring, what each way does there.
    inverse: of the stiffness in the ways.
    """

    shares: Columns
    moved: tuple[tuple[float, ...], ...]
    inverse: tuple[tuple[float, ...], ...]


def stiff(points: Points, ways: tuple[Basis, ...]) -> Stiff:
    """Springs at points, (x, y, stiffness), under a plate that can give way in these ways.

    All in whole numbers (a float is one over a power of two), and each result is rounded once.
    """
    size = len(ways)
    moved = [[way[0] + way[1] * Fraction(x) + way[2] * Fraction(y) for way in ways] for x, y, _ in points]
    k, k_by = _whole([[Fraction(stiffness) for _, _, stiffness in points]])
    m, m_by = _whole(moved)
    w, w_by = _whole([list(way) for way in ways])
    matrix = [
        [sum(s * v[i] * v[j] for s, v in zip(k[0], m, strict=True)) for j in range(size)] for i in range(size)
    ]
    adjugate, determinant = _adjugate(matrix)
    lever = [[sum(a * way[c] for a, way in zip(row, w, strict=True)) for c in range(3)] for row in adjugate]
    constant, per_x, per_y = (
        tuple(
            m_by * s * sum(a * row[column] for a, row in zip(v, lever, strict=True)) / (w_by * determinant)
            for s, v in zip(k[0], m, strict=True)
        )
        for column in range(3)
    )
    scale = k_by * m_by * m_by
    return Stiff(
        (constant, per_x, per_y),
        tuple(tuple(map(float, row)) for row in moved),
        tuple(tuple(scale * a / determinant for a in row) for row in adjugate),
    )


def _whole(rows: list[list[Fraction]]) -> tuple[list[list[int]], int]:
    """Binary fractions as whole numbers over one denominator."""
    by = max(value.denominator for row in rows for value in row)
    return [[value.numerator * (by // value.denominator) for value in row] for row in rows], by


def _adjugate(m: list[list[int]]) -> tuple[list[list[int]], int]:
    """The adjugate of a symmetric matrix of one to three rows, and its determinant."""
    if len(m) == 1:
        return [[1]], m[0][0]
    if len(m) == 2:
        (a, b), (_, d) = m
        return [[d, -b], [-b, a]], a * d - b * b
    (a, b, c), (_, d, e), (_, _, f) = m
    first = [d * f - e * e, c * e - b * f, b * e - c * d]
    rest = [[first[1], a * f - c * c, b * c - a * e], [first[2], b * c - a * e, a * d - b * b]]
    return [first, *rest], a * first[0] + b * first[1] + c * first[2]


def shares(receptor: Receptor, x_m: float, y_m: float) -> tuple[float, ...]:
    """What part of a load at (x, y) each support carries.  They add up to 1."""
    return bearing(receptor).shares(x_m, y_m)


def dead_shares_kg(receptor: Receptor) -> tuple[float, ...]:
    """What each support carries of the dead load, which acts at the middle of the receptor."""
    middle = shares(receptor, 0.5 * receptor.length_m, 0.5 * receptor.width_m)
    return tuple(receptor.dead_load_kg * s for s in middle)
