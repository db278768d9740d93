"""How many different readings a converter's noise leaves: effective and noise-free bits and counts.

ENOB = log2(FS / rms), noise-free bits = log2(FS / peak to peak), peak to peak about 6.6 rms for normal noise
(within it 99.9 % of the time), so they lie 2.72 bits apart.  Source: common practice of data sheets; 6.6 from
the normal distribution, erf(3.3 / sqrt 2) = 0.99903.
"""

from __future__ import annotations

import math

from benchsim.scale.digitiser import figures
from benchsim.scale.filters import stages
from benchsim.scale.parts import Digitiser

PEAK_TO_PEAK = 6.6
# What rounding to whole counts adds: a step of 1 spread evenly.  Source: Bennett (1948).
_ROUNDING_RMS = 1.0 / math.sqrt(12.0)


def noise_rms_counts(digitiser: Digitiser) -> float:
    """The standard deviation of its codes with a still input, rounding included."""
    made = figures(digitiser)
    analogue = made.noise_before * _passed(digitiser.filter, digitiser.filter_samples)
    return math.sqrt(analogue**2 + made.noise_after**2 + _ROUNDING_RMS**2)


def effective_bits(digitiser: Digitiser) -> float:
    """log2 of its whole range over its noise."""
    return digitiser.bits - math.log2(noise_rms_counts(digitiser))


def noise_free_bits(digitiser: Digitiser) -> float:
    """log2 of its whole range over what its noise spans from peak to peak."""
    return effective_bits(digitiser) - math.log2(PEAK_TO_PEAK)


def noise_free_counts(digitiser: Digitiser) -> float:
    """How many readings its range holds that noise does not blur into one another."""
    return float(2.0 ** noise_free_bits(digitiser))


def rms_for(bits: int, counts: float) -> float:
    """The RMS noise in codes that leaves so many noise-free counts; 0 where rounding alone leaves fewer."""
    rms = 2.0**bits / counts / PEAK_TO_PEAK
    return math.sqrt(max(0.0, rms**2 - _ROUNDING_RMS**2))


def _passed(name: str, box: int) -> float:
    """What a filter leaves of white noise: the root of its summed squared coefficients."""
    taps = [1.0]
    for _ in range(stages(name)):
        longer = [0.0] * (len(taps) + box - 1)
        for place, tap in enumerate(taps):
            for step in range(box):
                longer[place + step] += tap / box
        taps = longer
    return math.sqrt(math.fsum(tap * tap for tap in taps))
