"""What a host shows beside what it heard: a weight that is held, lags, goes in wide steps, or is missing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.clock import SECOND_US
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign
from benchsim.host.diagnosis.stands import SETTLES_US

WORDS = {
    "held": ("no", "yes"),
    "shown late": ("no", "yes"),
    "steps": ("of d", "wide"),
    "blank": ("no", "at times", "always"),
}
MOVES_D, LATE, BLANK = 20.0, 0.01, 0.02
"""Limits, own choice: a change worth a look in d, the share of it that is not shown two seconds after, and
the share of updates without a figure."""
_STARTS_US = 5 * SECOND_US


def signs(looks: Looks) -> list[Sign]:
    """Of what was shown."""
    shown = looks.hearing.shown
    good = shown[shown[:, 2] == 1]
    if len(good) < 20:
        none = [Sign(n, UNKNOWN, 0.0, "hardly ever a figure") for n in ("held", "shown late", "steps")]
        return [*none, _blank(looks, shown)]
    return [_held(looks, good), _late(looks, good), _steps(good), _blank(looks, shown)]


def _held(looks: Looks, good: NDArray[np.int64]) -> Sign:
    sums = looks.stands.mean_kg.sum(axis=1)
    sums = sums[np.isfinite(sums)]
    went_d = float(np.ptp(sums)) / looks.d_kg if len(sums) else 0.0
    if went_d < MOVES_D:
        return Sign("held", UNKNOWN, 0.0, "no load came or went")
    still = int(np.ptp(good[:, 1]))
    text = f"what is shown moves by {still} d while the cells move by {went_d:.0f} d in sum"
    held = still < 0.02 * went_d
    return Sign("held", "yes" if held else "no", 100.0 if held else 0.0, text)


def _late(looks: Looks, good: NDArray[np.int64]) -> Sign:
    """How far what is shown is, soon after a change, from where it is at the end of the load."""
    shares = []
    before: float | None = None
    for note in looks.case.notes:
        begin, soon, end = np.searchsorted(
            good[:, 0], [note.from_us, note.from_us + SETTLES_US + SECOND_US // 2, note.until_us]
        ).tolist()
        if not begin < soon < end - 1:
            before = None
            continue
        last = float(good[end - 1, 1])
        if before is not None and abs(last - before) > MOVES_D:
            shares.append(abs(float(good[soon, 1]) - last) / abs(last - before))
        before = last
    if len(shares) < 2:
        return Sign("shown late", UNKNOWN, 0.0, "too few changes of load were shown")
    share = float(np.median(shares))
    size = share / LATE
    text = f"two seconds after a change of load {share:.1%} of it is not shown yet"
    return Sign("shown late", "no" if size <= 1.0 else "yes", size, text)


def _steps(good: NDArray[np.int64]) -> Sign:
    values = np.unique(good[:, 1])
    if len(values) < 8:
        return Sign("steps", UNKNOWN, 0.0, "too few figures were shown")
    step_d = int(np.gcd.reduce(values - values[0]))
    text = f"what is shown moves in steps of {step_d} d"
    return Sign("steps", "of d" if step_d <= 1 else "wide", 0.0 if step_d <= 1 else float(step_d), text)


def _blank(looks: Looks, shown: NDArray[np.int64]) -> Sign:
    notes = looks.case.notes
    late = shown[shown[:, 0] > (notes[0].from_us if notes else 0) + _STARTS_US]
    if not len(late):
        return Sign("blank", UNKNOWN, 0.0, "nothing was shown for long enough")
    share = 1.0 - float(late[:, 2].mean())
    word = "no" if share <= BLANK else "at times" if share < 0.95 else "always"
    return Sign("blank", word, share / BLANK, f"{share:.0%} of the updates show no weight")
