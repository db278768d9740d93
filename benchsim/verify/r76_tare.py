"""R 76-1 4.6.3, A.4.6.2: how well taring sets the net indication to zero (text: memory)."""

from __future__ import annotations

from collections.abc import Iterator

from benchsim.ground.commands import ClearTare, Tare
from benchsim.verify import limits
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import to_changeover
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, Pile, insist, settled, weigh

THIRD = 3


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """A third of Max is tared as near to a changeover as 0.1 d gets, where rounding hides most."""
    reader.wait(EMPTY_US)
    pile, limit_e = Pile(subject, reader), limits.of(subject, "tare_set_within_d")
    near = to_changeover(subject, reader, pile, subject.whole(subject.max_kg / THIRD))
    if not near or not insist(reader, Tare()).done or not settled(reader).net:
        yield procedure.judged("near a changeover", pile.total_kg, "no tare is taken", None, limit_e)
    else:
        result = weigh(subject, reader)
        error_e = None if result.before_kg is None else result.before_kg / subject.e_kg
        yield procedure.judged("near a changeover", pile.total_kg, result.shown_kg, error_e, limit_e)
    reader.command(ClearTare())
    pile.off()
