"""A node's converter at the temperature of its box: what that does to reference, offset and clock.

A converter follows the site at once; what warms it beside that (its own electronics, the sun on the box) is
its self-heating.  Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

from benchsim.scale.parts import REFERENCE_TEMPERATURE_C, Digitiser

_MOST_REFERENCE = 0.9
_MOST_PPM = 1e5


def warmed(digitiser: Digitiser, site_c: float) -> Digitiser:
    """The digitiser as it is with its box in a site of this temperature; effects are straight lines."""
    warmer_k = site_c + digitiser.self_heating_k - REFERENCE_TEMPERATURE_C
    effects = (
        digitiser.reference_effect_per_k,
        digitiser.offset_effect_per_k,
        digitiser.clock_effect_per_k,
    )
    if warmer_k == 0.0 or not any(effects):
        return digitiser
    reference, offset, ppm = (effect * warmer_k for effect in effects)
    return replace(
        digitiser,
        reference_error=_within(digitiser.reference_error + reference, _MOST_REFERENCE),
        offset_mv_per_v=digitiser.offset_mv_per_v + offset,
        clock_error_ppm=_within(digitiser.clock_error_ppm + ppm, _MOST_PPM),
    )


def _within(value: float, most: float) -> float:
    return max(-most, min(most, value))
