"""R 76-1 3.6.2, A.4.7: a load away from the middle (rule: seen; procedure: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero
from benchsim.verify.subject import Spot, Subject
from benchsim.verify.weighing import Pile, weigh

FEW_SUPPORTS = 4
QUARTERS = ((0.25, 0.25), (0.25, 0.75), (0.75, 0.75), (0.75, 0.25))


def eccentric_load_kg(subject: Subject) -> Decimal:
    """1/3 of Max on up to four supports, else 1/(N - 1) of it."""
    supports = len(subject.receptor.supports)
    return subject.whole(subject.max_kg / (3 if supports <= FEW_SUPPORTS else supports - 1))


def spots(subject: Subject) -> list[tuple[str, Spot]]:
    """The middles of the four quarters, or a place over each support."""
    supports = subject.receptor.supports
    if len(supports) <= FEW_SUPPORTS:
        return [(f"quarter {n}", subject.on_line(*at)) for n, at in enumerate(QUARTERS, 1)]
    return [(f"support {n}", (s.x_m, s.y_m)) for n, s in enumerate(supports, 1)]


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The load in one place after the other, each held to the tolerance for it."""
    base = Pile(subject, reader)
    _, off_kg = error_at_zero(subject, reader, base)
    base.off()
    load_kg = eccentric_load_kg(subject)
    for name, spot in spots(subject):
        pile = Pile(subject, reader, spot)
        pile.up_to(load_kg)
        result = weigh(subject, reader)
        limit_e = subject.limit_e(load_kg)
        yield procedure.weighed(name, load_kg, result, off_kg, subject, limit_e)
        pile.off()
