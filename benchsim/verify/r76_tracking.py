"""R 76-1 4.5.7: what zero-tracking may not take away (text: memory; how it is tried: own choice)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import BASE_E, EMPTY_US, SECOND_US, Pile, settled, standing

STEP_D = 2
STANDS_US = 15 * SECOND_US
DRIFT_D, DRIFT_EACH_US = 2, 3 * SECOND_US
POURED_D, POUR_EACH_US = 10, SECOND_US // 5
ROUNDING_D = Decimal("0.5")


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Only at zero, and slowly: three loads that must stay on the display."""
    yield _step(procedure, subject, reader)
    yield _drift(procedure, subject, reader)
    yield _pour(procedure, subject, reader)


def _step(procedure: Procedure, subject: Subject, reader: Reader) -> Judged:
    """2 d put on the empty scale at once is no zero any more: it stays for 15 s and longer."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    pile.up_to(STEP_D * subject.d_kg)
    reader.wait(STANDS_US)
    return _held(procedure, "a step from zero stays", subject, reader, pile, ROUNDING_D)


def _drift(procedure: Procedure, subject: Subject, reader: Reader) -> Judged:
    """2 d more in steps of 0.1 d, slower than any tracking, but with a load on."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    pile.up_to(BASE_E * subject.e_kg)
    for _ in range(10 * DRIFT_D):
        reader.wait(DRIFT_EACH_US)
        pile.up_to(pile.total_kg + subject.d_kg / 10)
    return _held(procedure, "a drift under load stays", subject, reader, pile, ROUNDING_D)


def _pour(procedure: Procedure, subject: Subject, reader: Reader) -> Judged:
    """10 d poured on the empty scale at 1 d/s: tracking may keep up with half of that at most."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    for _ in range(5 * POURED_D):
        pile.up_to(pile.total_kg + subject.d_kg / 5)
        reader.wait(POUR_EACH_US)
    taken_d = subject.profile.zero_tracking_rate_d_per_s * POURED_D  # it takes so many seconds
    return _held(procedure, "a load poured at 1 d/s shows", subject, reader, pile, taken_d + ROUNDING_D)


def _held(
    procedure: Procedure, part: str, subject: Subject, reader: Reader, pile: Pile, limit_d: Decimal
) -> Judged:
    """What is on against what is shown, less rounding; then all of it is taken off."""
    load_kg = pile.total_kg
    shown = standing(settled(reader))
    per_e = subject.d_kg / subject.e_kg
    error_e = None if shown is None else (shown - load_kg) / subject.e_kg
    pile.off()
    return procedure.judged(part, load_kg, NO_FIGURE if shown is None else shown, error_e, limit_d * per_e)
