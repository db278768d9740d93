"""R 76-1 A.4.2.3: how well zero-setting sets zero, at rest and right after a disturbance (text: memory)."""

from __future__ import annotations

from collections.abc import Iterator

from benchsim.ground.commands import Zero
from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero, to_changeover
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, Pile, insist, notice, settled, standing

FROM_D = 5  # beyond any zero-tracking, within any range of zero-setting


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Zero is set as near to a changeover as 0.1 d gets, where rounding hides most."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    near = to_changeover(subject, reader, pile, FROM_D * subject.d_kg)
    yield from _error(procedure, f"set at {FROM_D} d, near a changeover", subject, reader, pile, near)
    insist(reader, Zero())
    reader.wait(EMPTY_US)
    before = reader.read()
    pile.up_to(FROM_D * subject.d_kg)
    notice(reader, before)
    yield from _error(procedure, "set at once after a disturbance", subject, reader, pile, True)


def _error(
    procedure: Procedure, part: str, subject: Subject, reader: Reader, pile: Pile, ready: bool
) -> Iterator[Judged]:
    load_kg, limit_e = pile.total_kg, limits.of(subject, "zero_set_within_d")
    if not ready or not insist(reader, Zero()).done:
        yield procedure.judged(part, load_kg, "zero is not set", None, limit_e)
    else:
        shown = standing(settled(reader))
        error_e = (error_at_zero(subject, reader, pile) + load_kg) / subject.e_kg
        yield procedure.judged(part, load_kg, shown, error_e, limit_e)
    pile.off()
