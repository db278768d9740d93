"""R 76-1 A.4.4, A.4.6.1: weighing up to Max and back, gross and with a tare (text: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.ground.commands import ClearTare, Tare
from benchsim.verify.judged import Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.series import error_at_zero, loads_of, up_and_down
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, Pile, insist, settled, weigh

TARE_SHARE = Decimal(2) / 3
NET_LOADS = 5


def gross(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Ten loads or more, Min, Max and the steps of the tolerance among them."""
    pile = Pile(subject, reader)
    off_kg = error_at_zero(subject, reader, pile)
    yield from up_and_down(procedure, subject, reader, pile, loads_of(subject), off_kg)
    pile.off()


def net(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Two thirds of Max tared away; the errors of net loads count from the error at net zero."""
    reader.wait(EMPTY_US)
    container, pile = Pile(subject, reader), Pile(subject, reader)
    container.up_to(subject.whole(subject.max_kg * TARE_SHARE))
    settled(reader)
    tared = insist(reader, Tare()).done and settled(reader).net
    off_kg = weigh(subject, reader).before_kg if tared else None
    if off_kg is None:
        found = "no figure at net zero" if tared else "no tare is taken"
        yield procedure.judged("tare", container.total_kg, found, None, None, False)
    else:
        loads = loads_of(subject, subject.max_kg - container.total_kg)
        part = max(1, len(loads) // NET_LOADS)
        chosen = sorted({loads[0], *loads[part::part], loads[-1]})
        yield from up_and_down(procedure, subject, reader, pile, chosen, off_kg)
    reader.command(ClearTare())
    pile.off()
    container.off()
