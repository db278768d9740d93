"""Sun on the deck: its top grows warmer than its underside and it bows up in the middle, day after day."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, parameter
from benchsim.ground.units import LENGTH, TEMPERATURE_DIFFERENCE, TIME
from benchsim.scale.parts import Receptor

EXPANSION_PER_K = 12e-6  # steel; from memory, common tables


@fault(
    seen="around noon the end cells carry more and the middle ones less; the sum stays right",
    cause="a deck whose top is in the sun while its underside is in the shade",
    confirm="log each cell's share of the empty deck over a sunny day",
    caution="metal in the sun burns: wear gloves",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class SunOnDeck:
    """The bow of a free beam of even depth, curvature = expansion x difference / depth, under a deck that is
    stiff beside it; the difference swings as a squared sine, from none over its most to none each period.

    Only a deck on three rows of supports or more feels it.  Not modelled: a deck that its own weight bends
    straight again, so this is the most that can be.  Source: textbook bending by temperature, from memory.
    """

    difference_k: float = parameter(
        8.0, TEMPERATURE_DIFFERENCE, "top above underside at its most", low=0.0, high=60.0
    )
    depth_m: float = parameter(0.4, LENGTH, "of the deck, top to underside", low=0.02, high=3.0)
    period_us: int = parameter(
        24 * HOUR_US, TIME, "from one noon to the next", low=60_000_000, high=9000 * HOUR_US
    )

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        turn = (age_us % self.period_us) / self.period_us
        # Twelve decimals: the last digits of a sine are not the same on every machine.
        noon = round(math.sin(math.pi * turn) ** 2, 12)
        curvature_per_m = EXPANSION_PER_K * self.difference_k * noon / self.depth_m
        middle_m = 0.5 * part.length_m
        supports = tuple(
            replace(s, height_m=_held(s.height_m + 0.5 * curvature_per_m * (s.x_m - middle_m) ** 2))
            for s in part.supports
        )
        return replace(part, supports=supports)


def _held(height_m: float) -> float:
    return max(-1.0, min(1.0, height_m))
