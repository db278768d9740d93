"""HB 44 T.N.5: repeated weighings agree, and each is within tolerance (memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero, repeated, spread
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import Pile


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """About half of capacity and capacity."""
    times, stage = limits.weighings(subject), limits.stage_of(subject, "repeatability_stage")
    base = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, base)
    base.off()
    for share in (Decimal("0.5"), Decimal(1)):
        load_kg = subject.whole(subject.max_kg * share)
        results = repeated(subject, reader, load_kg, times)
        limit_e = subject.limit_e(load_kg)
        for time, result in enumerate(results, 1):
            yield procedure.weighed(f"weighing {time}", load_kg, result, off_kg, subject, limit_e)
        agree_e = subject.limit_e(load_kg, stage)
        weights = [r.before_kg for r in results]
        yield spread(procedure, f"{times} times", subject, load_kg, weights, agree_e)
