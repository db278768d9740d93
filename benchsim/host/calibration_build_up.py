"""Loads above the test weights, built up by substitution, and the error that such a load carries.

Weights on: read.  Weights off, as much of something else on, until it reads the same: that load is now known
from the weights.  Weights on top of it: read, and so on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

COVERAGE = 2.0  # k of an expanded uncertainty, about 95 %; JCGM 100 6.2 (memory)


@dataclass(frozen=True, slots=True)
class Carried:
    """What a built-up load is uncertain by, in kg, as standard uncertainties unless said otherwise.

    weights: of the test weights, which were put on again and again, so that their errors add up.
    comparisons: of the readings by which material was set equal to weights, independent of each other.
    """

    weights: float
    comparisons: float

    @property
    def standard(self) -> float:
        return math.hypot(self.weights, self.comparisons)

    @property
    def expanded(self) -> float:
        return COVERAGE * self.standard


def carried(level: int, top: float, weights_error_kg: float, reading_kg: float) -> Carried:
    """The uncertainty of a load made of `level` substitutions and a part `top` (0 to 1) of the weights on it.

    weights_error_kg: what all test weights together may be wrong by (taken as rectangular: over root 3).
    reading_kg: standard uncertainty of one reading.  A substitution is the difference of two of them.
    u(level) = hypot((level + top) * weights / sqrt 3, sqrt(2 * level) * reading).
    Source: JCGM 100:2008 5.1 and 5.2 (memory), the law of propagation, worked out here.
    """
    weights = (level + top) * weights_error_kg / math.sqrt(3.0)
    return Carried(weights, math.sqrt(2.0 * level) * reading_kg)
