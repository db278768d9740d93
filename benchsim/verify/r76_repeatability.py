"""R 76-1 3.6.1, A.4.10: the same load again and again (rule: seen; procedure: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import repeated, spread
from benchsim.verify.subject import Subject


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Two series, about half of Max and Max."""
    times, stage = limits.weighings(subject), limits.stage_of(subject, "repeatability_stage")
    for share in (Decimal("0.5"), Decimal(1)):
        load_kg = subject.whole(subject.max_kg * share)
        weights = [r.before_kg for r in repeated(subject, reader, load_kg, times)]
        yield spread(procedure, f"{times} times", subject, load_kg, weights, subject.limit_e(load_kg, stage))
