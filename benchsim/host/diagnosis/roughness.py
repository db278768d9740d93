"""How rough a cell reads while nothing moves: noise, a spectral line, and codes that are left out."""

from __future__ import annotations

import numpy as np

from benchsim.host.diagnosis.answers import _kg
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign
from benchsim.host.diagnosis.stands import Figures

WORDS = {
    "rough": ("smooth", "rough", "very rough", "dead still"),
    "line": ("none", "line", "strong line"),
    "codes": ("all", "coarse", "very coarse", "one code"),
}
ROUGH_D, LINE_RATIO, FREE_BITS = 0.2, 8.0, 2
"""Limits, own choice: deviation from sample to sample in d; a line's power over that of frequencies near it,
five times what an average of ten stretches of noise comes to; low bits that may stand still by chance."""
_STRETCH = 128  # samples of a periodogram
_RINGS_S = 2  # what is left of a deck's swing would be a line; a spectrum waits longer than a mean
_NEAR = 8
_FROM_BIN = 6  # below, drift


def signs(looks: Looks, cell: int) -> list[Sign]:
    """Of one cell, by index."""
    return [_rough(looks, cell), _line(looks, cell), _codes(looks, cell)]


def _rough(looks: Looks, cell: int) -> Sign:
    rough = looks.stands.rough_kg
    own = rough[:, cell][np.isfinite(rough[:, cell])]
    if not len(own):
        return Sign("rough", UNKNOWN, 0.0, "never read while nothing moved")
    own_kg = float(np.median(own))
    others = np.delete(rough, cell, axis=1)
    others = others[np.isfinite(others)]
    beside = f", the other cells by {_kg(np.median(others))}" if len(others) else ""
    text = f"scatters by {_kg(own_kg)} from sample to sample{beside}"
    if not own_kg:
        return Sign("rough", "dead still", 100.0, "not one count moves while other cells do")
    size = own_kg / (ROUGH_D * looks.d_kg)
    return Sign("rough", "smooth" if size <= 1.0 else "rough" if size <= 5.0 else "very rough", size, text)


def _line(looks: Looks, cell: int) -> Sign:
    power, stretches = _spectrum([r.kg[_RINGS_S * looks.case.rate_hz :] for r in looks.readings[cell]])
    if stretches < 3:
        return Sign("line", UNKNOWN, 0.0, "too few samples in a row")
    near = np.array(
        [
            np.median(np.delete(power[max(_FROM_BIN, k - _NEAR) : k + _NEAR + 1], min(k - _FROM_BIN, _NEAR)))
            for k in range(_FROM_BIN, len(power))
        ]
    )
    ratios = power[_FROM_BIN:] / np.maximum(near, 1e-30)
    top = int(np.argmax(ratios))
    hz = (top + _FROM_BIN) * looks.case.rate_hz / _STRETCH
    size = float(ratios[top]) / LINE_RATIO
    word = "none" if size <= 1.0 else "line" if size <= 100.0 else "strong line"
    return Sign("line", word, size, f"a line at {hz:.1f} Hz (folded at half of {looks.case.rate_hz} Hz)")


def _spectrum(stretches: list[Figures]) -> tuple[Figures, int]:
    """Mean periodogram of Hann-windowed stretches, each without its straight line; and how many."""
    cut = [kg[: len(kg) // _STRETCH * _STRETCH].reshape(-1, _STRETCH) for kg in stretches]
    rows = np.concatenate(cut) if cut else np.zeros((0, _STRETCH))
    if not len(rows):
        return np.zeros(_STRETCH // 2 + 1), 0
    x = np.linspace(-1.0, 1.0, _STRETCH)
    rows = rows - rows.mean(axis=1, keepdims=True)
    rows = rows - np.outer(rows @ x / (x @ x), x)
    power: Figures = np.mean(np.abs(np.fft.rfft(rows * np.hanning(_STRETCH + 1)[:-1], axis=1)) ** 2, axis=0)
    return power, len(rows)


def _codes(looks: Looks, cell: int) -> Sign:
    counts = [reading.counts for reading in looks.readings[cell]]
    if not counts:
        return Sign("codes", UNKNOWN, 0.0, "never read while nothing moved")
    joined = np.concatenate(counts)
    moved = int(np.bitwise_or.reduce(joined ^ joined[0]))
    if not moved:
        return Sign("codes", "one code", 100.0, f"all {len(joined)} samples are the code {int(joined[0])}")
    still = (moved & -moved).bit_length() - 1
    size = 2.0 ** (still - FREE_BITS)
    word = "all" if size <= 1.0 else "coarse" if still < 12 else "very coarse"
    return Sign("codes", word, size, f"the lowest {still} bits of its code never move")
