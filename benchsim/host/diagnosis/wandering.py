"""Whether a cell comes back and stays: its zero over the visit, what goes on under a load, and jumps."""

from __future__ import annotations

import numpy as np

from benchsim.host.diagnosis.answers import _kg, _signed
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign

WORDS = {
    "return": ("comes back", "moves up", "moves down", "steps up", "steps down", "to and fro"),
    "late": ("none", "goes on", "falls back"),
    "jumps": ("none", "jumps", "far jumps"),
    "swings": ("soon still", "swings on"),
}
RETURN_D, LATE_D, JUMP_D, SWING = 0.4, 0.25, 0.3, 0.015
"""Limits, in d and as a share of the change of load; own choice.

A class C cell leaves up to half a v behind after half an hour (OIML R 60-1 5.5.2)."""


def signs(looks: Looks, cell: int) -> list[Sign]:
    """Of one cell, by index."""
    return [_return(looks, cell), _late(looks, cell), _jumps(looks, cell), _swings(looks, cell)]


def _return(looks: Looks, cell: int) -> Sign:
    stands = looks.stands
    has = stands.empty & np.isfinite(stands.mean_kg[:, cell])
    if has.sum() < 2:
        return Sign("return", UNKNOWN, 0.0, "the deck was not seen empty twice")
    t_s, zero_kg = stands.t_s[has], stands.mean_kg[has, cell]
    steps = np.diff(zero_kg)
    went_kg = float(zero_kg[-1] - zero_kg[0])
    far_kg = float(np.ptp(zero_kg))
    size = far_kg / (RETURN_D * looks.d_kg)
    text = f"its zero goes {_signed(went_kg)} in {t_s[-1] - t_s[0]:.0f} s"
    if size <= 1.0:
        return Sign("return", "comes back", size, text)
    largest_kg = float(np.abs(steps).max())
    if abs(went_kg) < 0.5 * far_kg:
        return Sign("return", "to and fro", size, f"its zero goes to and fro over {_kg(far_kg)}")
    way = "up" if went_kg > 0 else "down"
    if len(steps) > 2 and largest_kg > 0.6 * far_kg:
        return Sign("return", f"steps {way}", size, f"{text}, of that {_kg(largest_kg)} at once")
    return Sign("return", f"moves {way}", size, text)


def _late(looks: Looks, cell: int) -> Sign:
    """How much of a change of load comes after the deck has settled; what the empty deck does is drift."""
    due, late = looks.stands.due_kg[:, cell], looks.stands.late_kg[:, cell]
    change = np.diff(due, prepend=np.nan)
    usable = np.isfinite(change) & np.isfinite(late) & (np.abs(change) > 10.0 * looks.d_kg)
    if usable.sum() < 2:
        return Sign("late", UNKNOWN, 0.0, "too few changes of load")
    x, y = change[usable], late[usable] - np.median(late[usable])
    share = float((x * y).sum() / (x * x).sum())
    late_kg = share * float(np.abs(x).max())
    size = abs(late_kg) / (LATE_D * looks.d_kg)
    word = "none" if size <= 1.0 else "goes on" if share > 0 else "falls back"
    return Sign("late", word, size, f"{share:+.3%} of a change of load comes while it stands")


def _jumps(looks: Looks, cell: int) -> Sign:
    jumps = looks.stands.jumps_kg[:, cell]
    if not np.isfinite(jumps).any():
        return Sign("jumps", UNKNOWN, 0.0, "never read while nothing moved")
    rough_kg = float(np.nanmedian(looks.stands.rough_kg[:, cell]))
    largest_kg = float(np.nanmax(jumps))
    limit_kg = JUMP_D * looks.d_kg + 2.0 * rough_kg
    size = largest_kg / limit_kg
    word = "none" if size <= 1.0 else "jumps" if size <= 30.0 else "far jumps"
    when_s = float(looks.stands.jump_s[:, cell][np.nanargmax(jumps)])
    text = f"jumps by up to {_kg(largest_kg)} while nothing moves, most at about {when_s:.0f} s"
    return Sign("jumps", word, size, text)


def _swings(looks: Looks, cell: int) -> Sign:
    """What moves in the first second beyond what moves in the last, over the change of load."""
    change = np.diff(looks.stands.due_kg[:, cell], prepend=np.nan)
    second = looks.case.rate_hz
    shares = []
    for reading in looks.readings[cell]:
        step_kg = abs(change[reading.note])
        if len(reading.kg) >= 2 * second and step_kg > 20.0 * looks.d_kg:
            first, last = reading.kg[:second], reading.kg[-second:]
            more = max(0.0, float(first.var() - last.var()))
            shares.append(np.sqrt(2.0 * more) / step_kg)
    if len(shares) < 2:
        return Sign("swings", UNKNOWN, 0.0, "too few changes of load")
    share = float(np.median(shares))
    size = share / SWING
    word = "soon still" if size <= 1.0 else "swings on"
    return Sign("swings", word, size, f"after two seconds it still swings by {share:.1%} of a change of load")
