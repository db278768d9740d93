"""What several procedures have in common: the error at zero, and loads put on one by one and taken off."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.rules.tables import band_ends
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Spot, Subject
from benchsim.verify.weighing import BASE_E, EMPTY_US, MOST_WEIGHTS, Pile, Weighed, settled, standing, weigh

TENTHS = 10


class NoZero(Exception):
    """The error at zero cannot be found, so nothing can be told of any other."""


def error_at_zero(subject: Subject, reader: Reader, pile: Pile) -> Decimal:
    """E0 in kg: of a base load of 10 e, which stays on the pile.

    The base is out of the reach of zero-tracking, which may be at work here.  Source: R 76-1 A.4.2.3
    (memory).  Raises NoZero, with the pile taken off.
    """
    reader.wait(EMPTY_US)
    base_kg = pile.total_kg + BASE_E * subject.e_kg
    pile.up_to(base_kg)
    before_kg = weigh(subject, reader).before_kg
    if before_kg is None:
        pile.off()
        raise NoZero
    return before_kg - base_kg


def to_changeover(subject: Subject, reader: Reader, pile: Pile, load_kg: Decimal) -> bool:
    """Load up to where 0.1 d more would show one d more, from a load on; whether it was found."""
    small = subject.d_kg / 10
    pile.up_to(load_kg)
    before = standing(settled(reader))
    for added in range(1, MOST_WEIGHTS + 1):
        pile.up_to(load_kg + added * small)
        now = standing(settled(reader))
        if before is not None and now is not None and now > before:
            pile.down_to(load_kg + (added - 1) * small)
            settled(reader)
            return True
    return False


def loads_of(subject: Subject, most_kg: Decimal | None = None) -> list[Decimal]:
    """Test loads, rising: Min, where the tolerance steps, tenths of the largest load, and that load.

    Ten at least; a step is tried where the smaller tolerance still holds.  Source: R 76-1 A.4.4.1 (memory).
    """
    top_kg = subject.whole(subject.max_kg if most_kg is None else most_kg)
    loads = {subject.min_kg, top_kg}
    loads |= {end * subject.e_kg for end in band_ends(subject.profile, int(top_kg / subject.e_kg))}
    parts = max(subject.profile.tests.loads_at_first or 0, TENTHS)
    loads |= {subject.whole(top_kg * part / parts) for part in range(1, parts)}
    least_kg = max(subject.min_kg, BASE_E * subject.e_kg)
    return sorted(load for load in loads if least_kg <= load <= top_kg)


def up_and_down(
    procedure: Procedure,
    subject: Subject,
    reader: Reader,
    pile: Pile,
    loads_kg: list[Decimal],
    off_kg: Decimal,
    ways: tuple[str, ...] = ("up", "down"),
) -> Iterator[Judged]:
    """Each load on the way up, and again on the way down, judged by the tolerance for the load.

    off_kg: the error at zero.  ways: one of them alone, or both.
    """
    if "up" in ways:
        for load_kg in loads_kg:
            pile.up_to(load_kg)
            yield _one(procedure, "up", subject, reader, load_kg, off_kg)
    if "down" in ways:
        pile.up_to(loads_kg[-1])
        back = loads_kg[-2::-1] if "up" in ways else loads_kg[::-1]
        for load_kg in back:
            pile.down_to(load_kg)
            yield _one(procedure, "down", subject, reader, load_kg, off_kg)


def _one(
    procedure: Procedure, way: str, subject: Subject, reader: Reader, load_kg: Decimal, off_kg: Decimal
) -> Judged:
    result = weigh(subject, reader)
    return procedure.weighed(way, load_kg, result, off_kg, subject, subject.limit_e(load_kg))


def repeated(
    subject: Subject, reader: Reader, load_kg: Decimal, times: int, spot: Spot | None = None
) -> list[Weighed]:
    """The same load put on and weighed again and again, the scale empty in between."""
    results = []
    pile = Pile(subject, reader, spot)
    for _ in range(times):
        reader.wait(EMPTY_US)
        pile.up_to(load_kg)
        results.append(weigh(subject, reader))
        pile.off()
    return results


def spread(
    procedure: Procedure,
    part: str,
    subject: Subject,
    load: Decimal | str,
    weights_kg: list[Decimal | None],
    limit_e: Decimal,
) -> Judged:
    """How far weights before rounding lie apart."""
    found = [w for w in weights_kg if w is not None]
    if len(found) < len(weights_kg) or not found:
        return procedure.judged(part, load, None, None, limit_e)
    low, high = min(found), max(found)
    shown = f"{low.normalize():f} to {high.normalize():f} kg"
    return procedure.judged(part, load, shown, (high - low) / subject.e_kg, limit_e)
