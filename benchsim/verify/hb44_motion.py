"""HB 44 S.2.5.1: nothing is recorded in motion, and what is recorded is right (memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.ground.commands import Record
from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, SECOND_US, Pile, insist, notice, settled, standing

TIMES = 3
FASTER = 10  # times the band in a second: no rule could call that stable
POUR_EACH_US, POURED = SECOND_US // 20, 100


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Recording asked for while a load comes on, and while it is still growing."""
    half_kg = subject.whole(subject.max_kg / 2)
    for time in range(1, TIMES + 1):
        reader.wait(EMPTY_US)
        before = reader.read()
        pile = Pile(subject, reader)
        pile.up_to(half_kg)
        notice(reader, before)
        yield _recorded(procedure, f"at once {time}", subject, reader, half_kg)
        pile.off()
    yield _poured(procedure, subject, reader)


def _recorded(procedure: Procedure, part: str, subject: Subject, reader: Reader, load_kg: Decimal) -> Judged:
    """What was recorded against what the scale shows once all has come to rest."""
    recorded = insist(reader, Record()).figure_kg
    reader.wait(EMPTY_US)
    rest = standing(settled(reader))
    limit_e = subject.limit_e(load_kg)
    if recorded is None or rest is None:
        shown = "nothing is recorded" if recorded is None else NO_FIGURE
        return procedure.judged(part, load_kg, shown, None, limit_e)
    shown = f"{recorded:f}, then {rest:f} kg"
    return procedure.judged(part, load_kg, shown, (recorded - rest) / subject.e_kg, limit_e)


def _poured(procedure: Procedure, subject: Subject, reader: Reader) -> Judged:
    """A load that grows by ten bands a second for 5 s: refused each time, but not any longer at rest."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    pile.up_to(subject.min_kg)
    settled(reader)
    step_kg = (
        FASTER * subject.profile.motion_band_of(subject.max_kg) * subject.e_kg * POUR_EACH_US / SECOND_US
    )
    taken = []
    for number in range(POURED):
        pile.up_to(pile.total_kg + step_kg)
        reader.wait(POUR_EACH_US)
        # The first second is the host's to notice.
        answer = reader.command(Record()) if number * POUR_EACH_US >= SECOND_US else None
        if answer is not None and answer.done:
            taken.append(answer.figure_kg)
    load_kg = pile.total_kg
    afterwards = insist(reader, Record()).done
    pile.off()
    shown = f"{len(taken)} records, the first {taken[0]} kg" if taken else "refused until it stood"
    if not taken and not afterwards:
        shown = "refused even at rest"
    return procedure.judged("while the load grows", load_kg, shown, None, None, afterwards and not taken)
