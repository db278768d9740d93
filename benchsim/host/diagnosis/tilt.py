"""Whether one support has given way or stands too low: load goes to its neighbours as statics fixes.

On a stiff plate the shares of all loads span at most three ways to sink and tilt.  If a support loses part of
its stiffness, what the cells are off by is that support's own force times one fixed pattern: the support's
unit vector without its part in those ways.  If it stands too low, it is the same pattern, alike at every
load, for as long as it bears at all (statics; a rigid body on springs, stiffness method).
"""

from __future__ import annotations

import numpy as np

from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign
from benchsim.host.diagnosis.stands import Figures

WORDS = {"support": ("none", "gave way", "stands low", "stands high")}
OFF_D, FITS = 1.0, 0.9
"""Limits, own choice: by how many d cells must be off, and how much of it one support's pattern explains."""
_TOO_FEW = "on so few supports statics alone fixes the shares"


def tilt(looks: Looks) -> tuple[Sign, int | None]:
    """The sign, and the index of the support when there is one."""
    stands = looks.stands
    rows = np.isfinite(stands.mean_kg).all(axis=1) & np.isfinite(stands.due_kg).all(axis=1)
    due = (stands.due_kg + looks.dead_kg)[rows]
    off = (stands.mean_kg - stands.due_kg)[rows]
    if len(due) < 4:
        return Sign("support", UNKNOWN, 0.0, "fewer than four known loads on all cells"), None
    _, sizes, ways = np.linalg.svd(due, full_matrices=False)
    ways = ways[sizes > 1e-4 * sizes[0]]
    cells = due.shape[1]
    if len(ways) >= cells:
        return Sign("support", UNKNOWN, 0.0, _TOO_FEW), None
    best, word, fit, lost = _best(due + off, off, np.eye(cells) - ways.T @ ways)
    size = float(np.abs(off).max()) / (OFF_D * looks.d_kg)
    if size <= 1.0 or fit < FITS:
        return Sign("support", "none", 0.0, "no pattern of a support that gives way"), None
    what = f"has lost about {lost:.0%} of its stiffness" if word == "gave way" else word
    text = f"support {best + 1} {what}: one pattern explains {fit:.1%} of what all cells are off by"
    return Sign("support", word, size, text), best


def _best(force: Figures, off: Figures, left: Figures) -> tuple[int, str, float, float]:
    """The support that explains most: which, how, how much its pattern explains, and the stiffness it lost.

    On four supports only one pattern is left over, so a support and the one across err alike; of two that
    explain the same, the one that bears least is the one that stands low.
    """
    power = np.maximum(np.diag(left), 1e-12)
    amplitude = off @ left / power  # (notes, support)
    whole = max(float((off**2).sum()), 1e-30)
    along = (amplitude**2 * power).sum(axis=0) / whole
    ratio = -(amplitude * force).sum(axis=0) / np.maximum((force**2).sum(axis=0), 1e-30)
    gives = 1.0 - along + ((amplitude + ratio * force) ** 2 * power).sum(axis=0) / whole
    mean = amplitude.mean(axis=0)
    stands = 1.0 - along + ((amplitude - mean) ** 2 * power).sum(axis=0) / whole
    gave = np.where(ratio > 0, gives, np.inf)
    if gave.min() < stands.min():
        best = int(np.argmin(gave))
        return best, "gave way", float(along[best]), float(ratio[best] / (1.0 + ratio[best]))
    low = np.where(mean < 0, stands, stands + 1e-3)
    alike = np.flatnonzero(low <= low.min() + 1e-6)
    best = int(alike[np.argmin(force[:, alike].min(axis=0))])
    return best, "stands low" if mean[best] < 0 else "stands high", float(along[best]), 0.0
