"""R 76-1 3.8.2.2, A.4.8: 1.4 d put on gently must show (text: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify import limits
from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, Pile, settled, standing, steady

WEIGHTS = 10


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """At Min, half of Max and Max; where d is as large as the rules ask it of."""
    from_kg = subject.profile.tests.discrimination_from_kg
    if from_kg is not None and subject.d_kg < from_kg:
        why = f"not run: asked of {from_kg.normalize():f} kg and more of d"
        yield Judged(procedure.clause, procedure.title, "", "", why, None, None, None)
        return
    loads = (("Min", subject.min_kg), ("half Max", subject.max_kg / 2), ("Max", subject.max_kg))
    for name, load_kg in loads:
        reader.wait(EMPTY_US)
        pile = Pile(subject, reader)
        pile.up_to(subject.whole(load_kg))
        yield _at(procedure, name, subject, reader, pile.total_kg)
        pile.off()


def _at(procedure: Procedure, name: str, subject: Subject, reader: Reader, load_kg: Decimal) -> Judged:
    """Ten weights of 0.1 d on; off one by one until I - d shows; one back, 1.4 d on: it must show I + d."""
    d_kg, spot = subject.d_kg, subject.middle
    small = [reader.place(float(d_kg / 10), *spot) for _ in range(WEIGHTS)]
    first = now = standing(settled(reader))
    while small and first is not None:
        reader.take_off(small.pop())
        now = standing(settled(reader))
        if steady(reader, first.__gt__):
            break
    if first is None or now is None or now >= first:
        shown = NO_FIGURE if first is None or now is None else f"{first:f} kg with and without 1 d"
        result = procedure.judged(name, load_kg, shown, None, Decimal(0))
    else:
        small.append(reader.place(float(d_kg / 10), *spot))
        settled(reader)
        small.append(reader.place(float(d_kg * limits.of(subject, "discrimination_load_d")), *spot))
        last = standing(settled(reader))
        change_kg = d_kg * limits.of(subject, "discrimination_change_d")
        error_e = None if last is None else (last - first - change_kg) / subject.e_kg
        shown = f"{now:f} to {last:f} kg" if last is not None else NO_FIGURE
        result = procedure.judged(name, load_kg, shown, error_e, Decimal(0))
    for load in reversed(small):
        reader.take_off(load)
    return result
