"""HB 44 N.1.3, T.N.4.4: a load over each part of the deck, and the range of the results (memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero, spread
from benchsim.verify.subject import Spot, Subject
from benchsim.verify.weighing import Pile, weigh

QUARTERS = ((0.25, 0.25), (0.25, 0.75), (0.75, 0.75), (0.75, 0.25))
SAME_SECTION_M = 0.5  # supports this near to each other along the deck are one section; own choice


def shift(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """A share of capacity in the middle of each quarter."""
    spots = [(f"quarter {n}", subject.on_line(*at)) for n, at in enumerate(QUARTERS, 1)]
    share = subject.profile.tests.eccentricity_load or Fraction(1, 3)
    load_kg = subject.whole(subject.max_kg * share.numerator / share.denominator)
    yield from _over(procedure, subject, reader, spots, load_kg)


def sections(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The least share of capacity, rounded up, over each pair of supports, in the middle of the width."""
    at_x_m: list[float] = []
    for x_m in sorted(s.x_m for s in subject.receptor.supports):
        if not at_x_m or x_m - at_x_m[-1] > SAME_SECTION_M:
            at_x_m.append(x_m)
    length_m = subject.receptor.length_m
    spots = [(f"section {n}", subject.on_line(x_m / length_m, 0.5)) for n, x_m in enumerate(at_x_m, 1)]
    least_kg = subject.max_kg * limits.of(subject, "shift_load")
    load_kg = -(-least_kg // subject.e_kg) * subject.e_kg
    yield from _over(procedure, subject, reader, spots, load_kg)


def _over(
    procedure: Procedure, subject: Subject, reader: Reader, spots: list[tuple[str, Spot]], load_kg: Decimal
) -> Iterator[Judged]:
    """Each within its tolerance; all of them within the maintenance tolerance of each other."""
    base = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, base)
    base.off()
    weights: list[Decimal | None] = []
    for name, spot in spots:
        pile = Pile(subject, reader, spot)
        pile.up_to(load_kg)
        result = weigh(subject, reader)
        weights.append(result.before_kg)
        limit_e = subject.limit_e(load_kg)
        yield procedure.weighed(name, load_kg, result, off_kg, subject, limit_e)
        pile.off()
    range_e = subject.limit_e(load_kg, limits.stage_of(subject, "eccentricity_stage"))
    yield spread(procedure, "range of all", subject, load_kg, weights, range_e)
