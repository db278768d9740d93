"""HB 44 N.1.1, N.1.2, T.N.3: loads put on up to capacity, and taken off again (clause numbers: memory)."""

from __future__ import annotations

from collections.abc import Iterator

from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero, loads_of, up_and_down
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import Pile


def increasing(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Every step of the tolerance up to capacity."""
    yield from _series(procedure, subject, reader, "up")


def decreasing(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The same loads on the way down from capacity."""
    yield from _series(procedure, subject, reader, "down")


def _series(procedure: Procedure, subject: Subject, reader: Reader, way: str) -> Iterator[Judged]:
    pile = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, pile)
    loads = loads_of(subject)
    if way == "down":
        for load_kg in loads:
            pile.up_to(load_kg)
    yield from up_and_down(procedure, subject, reader, pile, loads, off_kg, (way,))
    pile.off()
