"""R 76-1 4.4.2, A.4.12: what is printed right after a disturbance (text: memory)."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from benchsim.ground.commands import Record
from benchsim.verify import limits
from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, Pile, insist, notice, settled

TIMES = 5
LOOK_US = 200_000


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """Half of Max stands; a tenth of it is put on or taken off, and printing is asked for at once.

    Over the 5 s after the print-out at most two neighbouring values may show, one of them the printed.
    """
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    half_kg = subject.whole(subject.max_kg / 2)
    more_kg = subject.whole(half_kg / 10)
    pile.up_to(half_kg)
    for time in range(TIMES):
        before = settled(reader)
        if time % 2:
            pile.down_to(half_kg)
        else:
            pile.up_to(half_kg + more_kg)
        notice(reader, before)
        yield _print(procedure, f"disturbance {time + 1}", subject, reader, pile.total_kg)
    pile.off()


def _print(procedure: Procedure, part: str, subject: Subject, reader: Reader, load_kg: Decimal) -> Judged:
    limit_e = limits.of(subject, "record_within_d")
    printed = insist(reader, Record()).figure_kg
    if printed is None:
        return procedure.judged(part, load_kg, "nothing is printed", None, limit_e)
    shown = set()
    for _ in range(int(limits.of(subject, "record_watched_ms")) * 1000 // LOOK_US):
        reader.wait(LOOK_US)
        shown.add(reader.read().figure_kg)
    figures = {f for f in shown if f is not None}
    if figures != shown or not figures:
        return procedure.judged(part, load_kg, NO_FIGURE, None, limit_e)
    error_kg = max((f - printed for f in figures), key=abs)
    neighbours = limits.of(subject, "record_neighbours") - 1
    apart_kg = max(figures | {printed}) - min(figures | {printed})
    error_e = error_kg / subject.e_kg
    told = f"{printed:f}, then {' or '.join(f'{f:f}' for f in sorted(figures)[:3])} kg"
    return procedure.judged(
        part,
        load_kg,
        told,
        error_e,
        limit_e,
        apart_kg <= neighbours * subject.d_kg and abs(error_e) <= limit_e,
    )
