"""A load near Max for half an hour, and what it leaves behind: the same watch under both standards.

A base of 10 e stays on throughout, so that zero-tracking hides nothing.  Source: R 76-1 3.9.4.1, 3.9.4.2,
A.4.11; HB 44 T.N.4.5.1, T.N.4.5.2, T.N.4.5.3 (memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import SECOND_US, Pile, Weighed, weigh

MINUTE_US = 60 * SECOND_US
QUARTER, HALF_HOUR = 15, 30


def creep(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Ends after 30 min where the weight has stood as it must; else goes on to 4 h, held to the tolerance."""
    pile = Pile(subject, reader)
    error_at_zero(subject, reader, pile)
    load_kg = subject.whole(subject.max_kg)
    pile.up_to(load_kg)
    since_us = reader.now_us
    first, *later = (_after(m, since_us, subject, reader) for m in (0, 5, QUARTER, HALF_HOUR))
    whole = _changed(procedure, "0 to 30 min", subject, load_kg, [first, *later], "creep_30min_d")
    rest = _changed(procedure, "15 to 30 min", subject, load_kg, later[1:], "creep_15_to_30min_d")
    if whole.passed and rest.passed:
        yield from (whole, rest)
    else:
        yield _for_hours(procedure, subject, reader, load_kg, since_us, [first, *later])
    pile.off()


def _for_hours(
    procedure: Procedure,
    subject: Subject,
    reader: Reader,
    load_kg: Decimal,
    since_us: int,
    results: list[Weighed],
) -> Judged:
    """Weighings each hour; a weight that has left its tolerance need not be watched any longer."""
    limit_e = subject.limit_e(load_kg)
    hours = limits.of(subject, "creep_in_tolerance_min") / 60
    for hour in range(1, int(hours) + 1):
        judged = _change(procedure, f"0 to {hours:f} h", subject, load_kg, results, limit_e)
        if not judged.passed:
            return judged
        results.append(_after(60 * hour, since_us, subject, reader))
    return _change(procedure, f"0 to {hours:f} h", subject, load_kg, results, limit_e)


def zero_return(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The base weighed before and right after half an hour of load."""
    pile = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, pile)
    base_kg = pile.total_kg
    before = Weighed(base_kg, base_kg + off_kg)
    load_kg = subject.whole(subject.max_kg)
    pile.up_to(load_kg)
    reader.wait(HALF_HOUR * MINUTE_US)
    pile.down_to(base_kg)
    after = weigh(subject, reader)
    limit_e = limits.zero_return_e(subject, load_kg)
    yield _change(procedure, "after 30 min", subject, load_kg, [before, after], limit_e)
    pile.off()


def _after(minutes: int, since_us: int, subject: Subject, reader: Reader) -> Weighed:
    reader.wait(max(0, since_us + minutes * MINUTE_US - reader.now_us))
    return weigh(subject, reader)


def _changed(
    procedure: Procedure, part: str, subject: Subject, load_kg: Decimal, results: list[Weighed], limit: str
) -> Judged:
    return _change(procedure, part, subject, load_kg, results, limits.of(subject, limit))


def _change(
    procedure: Procedure,
    part: str,
    subject: Subject,
    load_kg: Decimal,
    results: list[Weighed],
    limit_e: Decimal,
) -> Judged:
    """The largest change from the first of some weighings; the indication told is that of the last."""
    weights = [r.before_kg for r in results if r.before_kg is not None]
    if len(weights) < len(results):
        return procedure.judged(part, load_kg, None, None, limit_e)
    change_kg = max((w - weights[0] for w in weights[1:]), key=abs)
    return procedure.judged(part, load_kg, results[-1].shown_kg, change_kg / subject.e_kg, limit_e)
