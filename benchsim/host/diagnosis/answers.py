"""How each cell answers a load: how much, the same each time, the same up and down; and where its zero is."""

from __future__ import annotations

import math

import numpy as np

from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign
from benchsim.host.diagnosis.stands import Figures

WORDS = {
    "answer": (
        "as due", "a little less", "less", "far less", "none", "turned", "the wrong way", "a little more",
        "more", "far more",
    ),
    "zero": (
        "right", "as its answer", "a little high", "high", "far high", "a little low", "low", "far low",
    ),
    "share": ("as due", "none", "turned", "another"),
    "scatter": ("none", "some", "wild"),
    "loop": ("none", "more when falling", "less when falling"),
}  # fmt: skip
ANSWER_D, ZERO_D, SHARE_D, SCATTER_D, LOOP_D = 0.5, 0.5, 1.0, 0.4, 0.4
"""Limits in d, own choice: what error, creep and noise of a cell within its class stay below."""


def signs(looks: Looks, cell: int) -> list[Sign]:
    """Of one cell, by index."""
    return [
        _answer(looks, cell),
        _zero(looks, cell),
        _share(looks, cell),
        _scatter(looks, cell),
        _loop(looks, cell),
    ]


def _answer(looks: Looks, cell: int) -> Sign:
    gain = float(looks.answer[cell])
    if math.isnan(gain):
        return Sign("answer", UNKNOWN, 0.0, "no known load came or went while it could be read")
    most_kg = float(looks.most_kg[cell])
    size = abs(gain - 1.0) * most_kg / (ANSWER_D * looks.d_kg)
    shares = f"carries {gain:.2%} of what is due to it when loads come and go"
    if size <= 1.0:
        return Sign("answer", "as due", size, shares)
    if abs(gain) < 0.03:
        word = "none"
    elif gain < 0:
        word = "turned" if abs(gain + 1.0) < 0.05 else "the wrong way"
    else:
        far = abs(gain - 1.0)
        word = ("a little " if far < 0.01 else "far " if far > 0.1 else "") + ("less" if gain < 1 else "more")
    return Sign("answer", word, size, f"{shares} ({_kg(gain * most_kg)} of {_kg(most_kg)})")


def _zero(looks: Looks, cell: int) -> Sign:
    stands, d_kg = looks.stands, looks.d_kg
    gain = float(looks.answer[cell])
    mean, due = stands.mean_kg[:, cell], stands.due_kg[:, cell]
    known = np.isfinite(mean) & np.isfinite(due)
    if not known.any():
        return Sign("zero", UNKNOWN, 0.0, "never read with a known load")
    first = int(np.argmax(known & stands.empty)) if (known & stands.empty).any() else int(np.argmax(known))
    off_kg = float(mean[first] - due[first])
    size = abs(off_kg) / (ZERO_D * d_kg)
    dead_kg = float(looks.dead_kg[cell])
    text = f"starts {_signed(off_kg)} from where it was when the scale was set up (dead load {_kg(dead_kg)})"
    if size <= 1.0:
        return Sign("zero", "right", size, text)
    follows_kg = (gain - 1.0) * dead_kg
    if not math.isnan(gain) and abs(off_kg - follows_kg) < max(ZERO_D * d_kg, 0.1 * abs(off_kg)):
        return Sign("zero", "as its answer", size, f"{text}, as its answer to loads lets expect")
    far = size * ZERO_D
    word = ("a little " if far < 5.0 else "far " if far > 100.0 else "") + ("high" if off_kg > 0 else "low")
    return Sign("zero", word, size, text)


def _share(looks: Looks, cell: int) -> Sign:
    """Of all that is due to it, dead load included, under the largest known load, whatever came or went."""
    mean, due = looks.stands.mean_kg[:, cell], looks.stands.due_kg[:, cell]
    due = np.where(np.isfinite(mean), due, np.nan)
    if not np.isfinite(due).any():
        return Sign("share", UNKNOWN, 0.0, "never read with a known load")
    most = int(np.nanargmax(due))
    whole_kg = float(due[most] + looks.dead_kg[cell])
    off_kg = float(mean[most] - due[most])
    size = abs(off_kg) / (SHARE_D * looks.d_kg)
    if size <= 1.0 or whole_kg < 10.0 * looks.d_kg:
        return Sign("share", "as due", min(size, 1.0), f"carries {_kg(whole_kg)} in all, as due to it")
    ratio = 1.0 + off_kg / whole_kg
    word = "none" if abs(ratio) < 0.02 else "turned" if abs(ratio + 1.0) < 0.02 else "another"
    text = f"reads {ratio:.1%} of all that is due to it, dead load included ({_kg(whole_kg)})"
    return Sign("share", word, size, text)


def _scatter(looks: Looks, cell: int) -> Sign:
    off = looks.off_kg[:, cell][~looks.stands.empty]
    off = off[np.isfinite(off)]
    if len(off) < 3:
        return Sign("scatter", UNKNOWN, 0.0, "fewer than three known loads")
    spread_kg = float(np.sqrt((off * off).sum() / (len(off) - 1)))
    size = spread_kg / (SCATTER_D * looks.d_kg)
    word = "none" if size <= 1.0 else "some" if size <= 20.0 else "wild"
    return Sign("scatter", word, size, f"{len(off)} loads scatter by {_kg(spread_kg)} about its own line")


def _loop(looks: Looks, cell: int) -> Sign:
    """Loads that stood both after less and after more."""
    due, added = looks.stands.due_kg[:, cell], looks.added_kg[:, cell]
    tolerance = 2.0 * looks.d_kg
    before = np.concatenate([[np.nan], due[:-1]])
    usable = np.isfinite(added) & np.isfinite(before) & (np.abs(due) > 10.0 * looks.d_kg)
    apart: list[float] = []
    for n in np.flatnonzero(usable & (np.abs(before) < np.abs(due) - tolerance)).tolist():
        same = (
            usable & (np.abs(due - due[n]) < 1e-6 * abs(due[n])) & (np.abs(before) > abs(due[n]) + tolerance)
        )
        apart += (added[same] - added[n]).tolist()
    if not apart:
        return Sign("loop", UNKNOWN, 0.0, "no load stood once after less and once after more")
    gap_kg = float(np.mean(apart))
    size = abs(gap_kg) / (LOOP_D * looks.d_kg)
    word = "none" if size <= 1.0 else f"{'more' if gap_kg > 0 else 'less'} when falling"
    return Sign("loop", word, size, f"the same load reads {_signed(gap_kg)} after more than after less")


def _kg(kg: float | Figures) -> str:
    """Three figures: "812 kg", "0.0431 kg"."""
    return f"{float(kg):.3g} kg" if abs(float(kg)) < 1000 else f"{float(kg):.0f} kg"


def _signed(kg: float) -> str:
    return f"{'+' if kg > 0 else '−' if kg < 0 else ''}{_kg(abs(kg))}"
