"""The converter's digital filter: boxes (moving means) of one length in series, as a sinc filter is made.

Causal, and each output depends on its own stretch of inputs alone, so a block's edge never shows.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.errors import unknown

Floats = NDArray[np.float64]

STAGES = {"none": 0, "sinc1": 1, "sinc2": 2, "sinc3": 3, "sinc4": 4}


def stages(name: str) -> int:
    """How many boxes a filter of this name has.  Raises BadInput for an unknown name."""
    if name not in STAGES:
        raise unknown("filter", name, STAGES)
    return STAGES[name]


def reach(name: str, box: int) -> int:
    """How many earlier inputs an output depends on."""
    return stages(name) * (box - 1)


def settles_after(name: str, box: int) -> int:
    """How many samples after a step the output shows all of it."""
    return reach(name, box) + 1


def box_for(rate_hz: float, notch_hz: Fraction, most: int) -> int | None:
    """The shortest box, up to `most` samples, that takes a frequency away; None: there is none.

    A box of M samples has its notches at multiples of rate / M, those of the rate itself left out.
    """
    turns = notch_hz / Fraction(rate_hz)
    if turns.denominator == 1:
        return None
    return turns.denominator if turns.denominator <= most else None


def moving_sum(values: Floats, length: int) -> Floats:
    """Sums of `length` neighbours along the last axis; the result is length - 1 shorter.

    By doubling, about log2(length) additions a value; always in the same order for the same neighbours.
    """
    count = values.shape[-1] - length + 1
    window, width, at = values, 1, 0
    total: Floats | None = None
    while True:
        if length & width:
            part = window[..., at : at + count]
            total = part if total is None else total + part
            at += width
        if 2 * width > length:
            break
        window = window[..., :-width] + window[..., width:]
        width *= 2
    assert total is not None  # length is 1 or more, so it has a bit
    return total


def filtered(values: Floats, name: str, box: int) -> Floats:
    """The filter's output along the last axis; the first reach(name, box) inputs only fill it."""
    for _ in range(stages(name)):
        values = moving_sum(values, box) / box
    return values
