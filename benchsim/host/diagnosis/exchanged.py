"""Whether two cells answer each other's loads: the host takes one for the other."""

from __future__ import annotations

import numpy as np

from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign

WORDS = {"exchanged": ("none", "two")}
FITS, OFF_D = 0.02, 2.0
"""Limits, own choice: what is left of the error when two cells are exchanged, and from how many d on."""


def exchanged(looks: Looks) -> tuple[Sign, tuple[int, int] | None]:
    """The sign, and the indices of the two cells when there are two."""
    due, added = looks.stands.due_kg, looks.added_kg
    rows = np.isfinite(due).all(axis=1) & np.isfinite(added).all(axis=1) & ~looks.stands.empty
    cells = due.shape[1]
    if rows.sum() < 3 or cells < 2:
        return Sign("exchanged", UNKNOWN, 0.0, "too few known loads on all cells"), None
    # error[i, j]: what is left when cell i is taken for the place of cell j
    error = ((added[rows][:, :, None] - due[rows][:, None, :]) ** 2).sum(axis=0)
    own = np.diag(error)
    before = own[:, None] + own[None, :]
    after = error + error.T
    ratio = np.where(before > rows.sum() * (OFF_D * looks.d_kg) ** 2, after / np.maximum(before, 1e-30), 1.0)
    np.fill_diagonal(ratio, 1.0)
    one, other = (int(n) for n in np.unravel_index(np.argmin(ratio), ratio.shape))
    if ratio[one, other] > FITS:
        return Sign("exchanged", "none", 0.0, "no two cells answer each other's loads"), None
    pair = (min(one, other), max(one, other))
    text = f"cells {pair[0] + 1} and {pair[1] + 1} each answer the loads of the other"
    return Sign("exchanged", "two", 1000.0, text), pair
