"""Weights as whole numbers of d: here floats end.  Each rule stands with its clause.

An interval is a Decimal of kilograms (or of another unit of mass); an indication is an integer count of
it, so nothing a display, a ticket or a register gets was ever a rounded float.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction


def count_of_exact(mass: Decimal, interval: Decimal) -> int:
    """A weight in counts of the interval: floor(P/d + 1/2).

    Exact, also at the step.  Source: OIML R 76-1 A.4.4.3, rounding model I = e x floor(P/e + 1/2).
    """
    return math.floor(Fraction(mass) / Fraction(interval) + Fraction(1, 2))


def decimals_of(interval: Decimal) -> int:
    """Digits shown behind the point: 0 for 20 kg, 2 for 0.05 kg.  Source: HB 44 G-S.5.2.2."""
    exponent = interval.normalize().as_tuple().exponent
    return max(0, -int(exponent))


def shown(count: int, interval: Decimal) -> str:
    """The digits of an indication: all decimals and one digit left of the point (HB 44 G-S.5.2.2)."""
    return f"{count * interval:.{decimals_of(interval)}f}"


def is_scale_interval(interval: Decimal) -> bool:
    """Whether d is 1, 2 or 5 times a power of ten.  Source: HB 44 S.1.2, OIML R 76-1 4.2.2.1 (memory)."""
    if not interval.is_finite() or interval <= 0:
        return False
    return interval.normalize().as_tuple().digits in ((1,), (2,), (5,))


def scale_intervals_near(interval: Decimal) -> tuple[Decimal, Decimal]:
    """The allowed intervals just below and just above a positive value (equal when it is allowed)."""
    decade = Decimal(1).scaleb(interval.adjusted())
    steps = [decade * f for f in (1, 2, 5, 10)]
    below = max(s for s in steps if s <= interval)
    above = min(s for s in steps if s >= interval)
    return below.normalize(), above.normalize()
