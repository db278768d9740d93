"""R 76-1 3.6.2, A.4.7: a load away from the middle (rule: seen; procedure: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero
from benchsim.verify.subject import Spot, Subject
from benchsim.verify.weighing import Pile, weigh

QUARTERS = ((0.25, 0.25), (0.25, 0.75), (0.75, 0.75), (0.75, 0.25))


def eccentric_load_kg(subject: Subject) -> Decimal:
    """A share of Max; 1/(N - 1) of it on each of many supports."""
    share = subject.profile.tests.eccentricity_load or Fraction(1, 3)
    if many_supports(subject):
        share = Fraction(1, len(subject.receptor.supports) - 1)
    return subject.whole(subject.max_kg * share.numerator / share.denominator)


def many_supports(subject: Subject) -> bool:
    """Whether there are more than the rules have a share for."""
    few = subject.profile.tests.eccentricity_supports
    return few is not None and len(subject.receptor.supports) > few


def spots(subject: Subject) -> list[tuple[str, Spot]]:
    """The middles of the four quarters, or a place over each support."""
    supports = subject.receptor.supports
    few = subject.profile.tests.eccentricity_supports
    if few is not None and len(supports) <= few:
        return [(f"quarter {n}", subject.on_line(*at)) for n, at in enumerate(QUARTERS, 1)]
    return [(f"support {n}", (s.x_m, s.y_m)) for n, s in enumerate(supports, 1)]


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The load in one place after the other, each held to the tolerance for it."""
    base = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, base)
    base.off()
    load_kg = eccentric_load_kg(subject)
    for name, spot in spots(subject):
        pile = Pile(subject, reader, spot)
        pile.up_to(load_kg)
        result = weigh(subject, reader)
        limit_e = subject.limit_e(load_kg)
        yield procedure.weighed(name, load_kg, result, off_kg, subject, limit_e)
        pile.off()
