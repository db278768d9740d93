"""What a tolerance of a check comes to, exactly, in grains; where it comes from the profile, with its clause.

A grain is the whole fraction of a kilogram (1 ug, or finer when d asks for it) that a trace's weights are
compared in, so that no float's last bit ever decides a check.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from benchsim.checks.quantities import Quantity, Tolerance
from benchsim.ground.units import MASS, mass_text
from benchsim.record.trace import Trace
from benchsim.rules.profile import Profile
from benchsim.rules.tables import band_ends, tolerance_d

# A stage goes by either standard's word for it: HB 44 T.N.3.1 and T.N.3.2, R 76-1 3.5.1 and 3.5.2.
_STAGE_WORDS = {"maintenance": ("maintenance", "in service"), "acceptance": ("acceptance", "initial")}
_FINEST_DIGITS = 9
_MOST = 2**60  # weights are cut off here, so that the sum of two still fits
BOUND = 2**62  # limits are cut off here, outside of every weight
_NONE = Fraction(-1)


@dataclass(frozen=True, slots=True)
class Scale:
    """The unit a trace's weights are compared in.  per_kg: grains in 1 kg.  interval: grains in 1 d."""

    per_kg: int
    interval: int

    @classmethod
    def of(cls, trace: Trace) -> Scale:
        """A grain that divides d/10, and not above 1 ug."""
        interval_kg = trace.interval * MASS.factors[trace.unit]
        digits = max(_FINEST_DIGITS, 1 - int(interval_kg.normalize().as_tuple().exponent))
        return cls(10**digits, int(interval_kg.scaleb(digits)))

    def grains(self, quantity: Quantity | Tolerance) -> Fraction:
        """A weight as written, exact."""
        worth = self.interval if quantity.unit == "d" else self.per_kg
        return Fraction(quantity.value) * worth

    def of_kg(self, mass_kg: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Float masses to the nearest grain, and where they are numbers of a sane size."""
        sane = np.abs(mass_kg) < float(_MOST) / self.per_kg
        return np.rint(np.where(sane, mass_kg, 0.0) * float(self.per_kg)).astype(np.int64), sane

    def of_counts(self, counts: NDArray[np.int64]) -> NDArray[np.int64]:
        """Counts of d; absurdly large ones are cut off."""
        most = _MOST // self.interval
        return np.clip(counts, -most, most) * self.interval

    def text(self, grains: int | Fraction) -> str:
        """A weight for people: "18.4 t"."""
        value = Fraction(grains, self.per_kg)
        return mass_text(Decimal(value.numerator) / Decimal(value.denominator))

    def in_d(self, grains: int | Fraction) -> str:
        """A weight in intervals, signed: "+1.5 d"."""
        value = Fraction(grains, self.interval)
        text = f"{Decimal(value.numerator) / Decimal(value.denominator):+.3f}".rstrip("0").rstrip(".")
        return f"{text} d"


@dataclass(frozen=True, slots=True)
class Reach:
    """How far off is allowed: one figure for all rows, or one of several by row.

    limits: grains; below 0 where no tolerance is defined, which nothing meets.  which: index into limits
    by row, or None.  whole: instead of both, whole grains by row, for targets that are whole grains.
    """

    limits: tuple[Fraction, ...]
    which: NDArray[np.intp] | None = None
    whole: NDArray[np.int64] | None = None

    def above(self, target: Fraction | NDArray[np.int64]) -> int | NDArray[np.int64]:
        """The largest whole number of grains still within reach above a target."""
        return self._bound(target, 1)

    def below(self, target: Fraction | NDArray[np.int64]) -> int | NDArray[np.int64]:
        """The smallest one below it."""
        return self._bound(target, -1)

    def _bound(self, target: Fraction | NDArray[np.int64], sign: int) -> int | NDArray[np.int64]:
        if isinstance(target, Fraction):
            bounds = [_whole(target + sign * limit, sign) for limit in self.limits]
            return bounds[0] if self.which is None else np.array(bounds, np.int64)[self.which]
        if self.whole is not None:
            return target + sign * self.whole
        steps = [sign * _whole(limit, 1) for limit in self.limits]
        return target + (steps[0] if self.which is None else np.array(steps, np.int64)[self.which])

    def at(self, row: int) -> Fraction:
        """The limit of one row."""
        if self.whole is not None:
            return Fraction(int(self.whole[row]))
        return self.limits[0 if self.which is None else int(self.which[row])]


def _whole(value: Fraction, sign: int) -> int:
    """Rounded into the allowed range: down for an upper bound, up for a lower one; cut off far outside."""
    whole = math.floor(value) if sign > 0 else math.ceil(value)
    return max(-BOUND, min(BOUND, whole))


def reach(
    tolerance: Tolerance,
    scale: Scale,
    profile: Profile,
    target: Fraction | NDArray[np.int64],
    true_grains: NDArray[np.int64],
) -> Reach:
    """What a tolerance comes to for each row.  true_grains: the true load of each row, (n,).

    An mpe is that of the true load rounded up to whole d, so that a load just above the end of a band has
    the next band's (R 76-1 table 6: "<= 500 e").  Raises BadInput: the profile has no such tolerance.
    """
    if tolerance.unit == "1":
        return _share(Fraction(tolerance.value), target)
    if tolerance.unit == "zero window":
        return Reach((Fraction(tolerance.value) * Fraction(profile.centre_of_zero_d) * scale.interval,))
    if tolerance.unit != "mpe":
        return Reach((scale.grains(tolerance),))
    loads = -(-true_grains // scale.interval)
    edges = band_ends(profile, _MOST)
    factor = Fraction(tolerance.value) * scale.interval
    stage = _stage(tolerance.stage, profile)
    limits = [Fraction(tolerance_d(end, profile, stage)) * factor for end in edges]
    return Reach((*limits, _NONE), np.searchsorted(edges, loads))


def _share(share: Fraction, target: Fraction | NDArray[np.int64]) -> Reach:
    if isinstance(target, Fraction):
        return Reach((abs(target) * share,))
    sizes = np.abs(target)
    if not len(sizes) or int(sizes.max()) * share.numerator < BOUND:
        return Reach((), whole=sizes * share.numerator // share.denominator)
    return Reach((), whole=np.array([_whole(int(size) * share, 1) for size in sizes], np.int64))


def _stage(stage: str, profile: Profile) -> str:
    return next((w for w in _STAGE_WORDS[stage] if w in profile.stages), stage)


def clause(tolerance: Tolerance, profile: Profile) -> str:
    """Where a tolerance stands in the standard; "" for one that the check wrote down itself."""
    if tolerance.unit == "zero window":
        return f"{profile.standard} {profile.entry('centre_of_zero_d').clause}"
    if tolerance.unit != "mpe":
        return ""
    stage = _stage(tolerance.stage, profile)
    return f"{profile.standard} {profile.entry('bands').clause}, {stage}"
