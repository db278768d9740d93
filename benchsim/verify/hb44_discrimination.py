"""HB 44 T.N.7.2, N.1.5.1: 1.4 d, from just outside the zone of uncertainty, moves it by 2 d (memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify import limits
from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import BASE_E, EMPTY_US, MOST_WEIGHTS, Pile, settled, standing, steady

ROOM_E = 5


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Near zero and near capacity, each with the load put on and taken off."""
    loads = (("near zero", BASE_E * subject.e_kg), ("near capacity", subject.max_kg - ROOM_E * subject.e_kg))
    for name, load_kg in loads:
        for way in ("up", "down"):
            reader.wait(EMPTY_US)
            pile = Pile(subject, reader)
            pile.up_to(subject.whole(load_kg))
            yield _moved(procedure, f"{name}, {way}", subject, reader, pile, way)
            pile.off()


def _moved(procedure: Procedure, part: str, subject: Subject, reader: Reader, pile: Pile, way: str) -> Judged:
    """From where 0.1 d more, or less on the way down, changes the figure: 1.4 d on, or off."""
    load_kg, spot = pile.total_kg, subject.middle
    weight_kg = float(subject.d_kg * limits.of(subject, "discrimination_load_d"))
    lifted = [reader.place(weight_kg, *spot)] if way == "down" else []
    before = standing(settled(reader))
    small = _past_a_step(subject, reader, before)
    if way == "up":
        _back(reader, small, before)
    start = standing(settled(reader))
    if way == "up":
        lifted.append(reader.place(weight_kg, *spot))
    else:
        reader.take_off(lifted.pop())
    end = standing(settled(reader))
    for load in [*lifted, *reversed(small)]:
        reader.take_off(load)
    if start is None or end is None:
        return procedure.judged(part, load_kg, NO_FIGURE, None, Decimal(0))
    least_e = limits.of(subject, "discrimination_change_d") * subject.d_kg / subject.e_kg
    short_e = max(Decimal(0), least_e - abs(end - start) / subject.e_kg)
    return procedure.judged(part, load_kg, f"{start:f} to {end:f} kg", short_e, Decimal(0))


def _past_a_step(subject: Subject, reader: Reader, before: Decimal | None) -> list[int]:
    """Weights of 0.1 d, added until the figure has stepped and stays there, and one more."""
    small: list[int] = []
    while before is not None and len(small) < MOST_WEIGHTS:
        small.append(reader.place(float(subject.d_kg / 10), *subject.middle))
        settled(reader)
        if steady(reader, before.__lt__):
            small.append(reader.place(float(subject.d_kg / 10), *subject.middle))
            break
    return small


def _back(reader: Reader, small: list[int], before: Decimal | None) -> None:
    """Weights taken off, last on first off, until the figure is back and stays there, and one more."""
    while small and before is not None:
        reader.take_off(small.pop())
        settled(reader)
        if steady(reader, before.__ge__):
            if small:
                reader.take_off(small.pop())
            return
