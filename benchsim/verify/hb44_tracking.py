"""HB 44 S.2.1.3: how much zero-tracking may take out at once (memory; how it is tried: own choice)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal

from benchsim.verify.judged import NO_FIGURE, Judged, Procedure
from benchsim.verify.reader import Reader
from benchsim.verify.subject import Subject
from benchsim.verify.weighing import EMPTY_US, SECOND_US, Pile, settled, standing

STANDS_US = 20 * SECOND_US
ROUNDING_D = Decimal("0.5")


def carry_out(procedure: Procedure, subject: Subject, reader: Reader) -> Iterator[Judged]:
    """The next whole d beyond the limit, put on the empty scale at once, stays on the display."""
    reader.wait(EMPTY_US)
    pile = Pile(subject, reader)
    pile.up_to((math.floor(subject.profile.zero_tracking_window_d) + 1) * subject.d_kg)
    reader.wait(STANDS_US)
    load_kg = pile.total_kg
    shown = standing(settled(reader))
    pile.off()
    error_e = None if shown is None else (shown - load_kg) / subject.e_kg
    limit_e = ROUNDING_D * subject.d_kg / subject.e_kg
    told = NO_FIGURE if shown is None else shown
    yield procedure.judged("a step beyond the limit stays", load_kg, told, error_e, limit_e)
