"""What can be a scale and what cannot.  Every limit on the parts of a scale stands here.

A message begins with the part and, where there is one, its field: "cell 3, e_max_kg: ...", parts counted
from 1, so that a reader of files can look the place up.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import TypeVar

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.readings import CHANNELS_PER_NODE
from benchsim.scale.bridge import ARMS, PAIRS, TERMINALS
from benchsim.scale.filters import STAGES
from benchsim.scale.parts import Cell, Digitiser, Receptor, ScaleParts, Site, Wiring
from benchsim.scale.receptor import bearing, dead_shares_kg

MOST_CELLS = 16
LONGEST_BOX = 1024

# A cell's least rated output in mV/V when it is new; a fault may take all of it.
LEAST_RATED = 1e-3

# Least and largest value of each figure.  Wide: they keep what is computed finite, and slips of the pen out.
Limits = dict[str, tuple[float, float]]
CELL: Limits = {
    "e_max_kg": (1e-3, 1e9),
    "rated_output_mv_per_v": (0.0, 100.0),
    "zero_balance_mv_per_v": (-1000.0, 1000.0),
    "nonlinearity": (-0.5, 0.5),
    "hysteresis": (-0.5, 0.5),
    "zero_effect_per_k": (-1.0, 1.0),
    "span_effect_per_k": (-1.0, 1.0),
    "recovery": (-10.0, 10.0),
    "repeatability": (0.0, 0.5),
    "thermal_time_constant_s": (0.0, 1e9),
    "safe_load": (0.01, 1e3),
    "overload_set": (-1.0, 1.0),
    "input_resistance_ohm": (1.0, 1e6),
    "output_resistance_ohm": (1.0, 1e6),
}
CREEP: Limits = {"fraction": (-0.5, 0.5), "time constant in s": (1e-3, 1e9)}
ARM_SHIFT = (-0.99, 100.0)
LEAD_EFFECT = (-0.1, 0.1)
RECEPTOR: Limits = {
    "length_m": (0.01, 1e4),
    "width_m": (0.01, 1e4),
    "dead_load_kg": (0.0, 1e9),
    "natural_frequency_hz": (0.01, 1e4),
    "damping_ratio": (0.0, 100.0),
}
SUPPORT: Limits = {
    "stiffness_n_per_m": (1e-6, 1e15),
    "height_m": (-1.0, 1.0),
    "binding_kg": (0.0, 1e9),
    "binding_share": (0.0, 1.0),
}
TOUCH: Limits = {"stiffness_n_per_m": (0.0, 1e15), "gap_m": (-1.0, 1.0), "push_kg": (-1e9, 1e9)}
MOST_TOUCHES = 16
DIGITISER: Limits = {
    "rate_hz": (0.1, 1e4),
    "bits": (8, 32),
    "full_scale_mv_per_v": (1e-6, 1e4),
    "excitation_v": (1e-3, 1e3),
    "noise_density_v_per_rthz": (0.0, 1.0),
    "noise_rms_counts": (0.0, 1e9),
    "pickup_mv_per_v": (0.0, 1e4),
    "pickup_hz": (0.0, 1e6),
    "filter_samples": (1, LONGEST_BOX),
    "clock_error_ppm": (-1e5, 1e5),
    "reference_error": (-0.9, 0.9),
    "common_mode_error": (-1.0, 1.0),
    "offset_mv_per_v": (-1000.0, 1000.0),
    "input_range_mv_per_v": (0.0, 1e4),
    "skew_us": (0, 1_000_000),
    "self_heating_k": (-100.0, 200.0),
    "reference_effect_per_k": (-0.01, 0.01),
    "offset_effect_per_k": (-1.0, 1.0),
    "clock_effect_per_k": (-100.0, 100.0),
}
SITE: Limits = {
    "temperature_c": (-100.0, 200.0),
    "gravity_m_per_s2": (0.1, 100.0),
    "calibration_gravity_m_per_s2": (0.1, 100.0),
}
WIND: Limits = {
    "speed_m_per_s": (0.0, 100.0),
    "turbulence": (0.0, 1.0),
    "height_m": (0.1, 300.0),
    "lift_area_m2": (-1e4, 1e4),
}
VIBRATION: Limits = {
    "acceleration_m_per_s2": (0.0, 100.0),
    "frequency_hz": (0.01, 1000.0),
    "bandwidth_hz": (0.0, 100.0),
}

Part = TypeVar("Part")

_ABOVE_0 = "a finite value above 0"
_FROM_0 = "a finite value, 0 or more"


def check(parts: ScaleParts, known: ScaleParts | None = None) -> None:
    """Raises BadInput for the first thing that cannot be.

    known: parts that were checked; what is as there is not looked at again.
    """
    _check_numbers_of_parts(parts)
    if known is None or parts.receptor != known.receptor:
        check_receptor(parts.receptor)
    for number, cell in _fresh(parts.cells, known.cells if known else ()).items():
        check_cell(cell, f"cell {number}")
    for number, wiring in _fresh(parts.wiring, known.wiring if known else ()).items():
        check_wiring(wiring, f"wiring {number}")
    for number, station in _fresh(parts.stations, known.stations if known else ()).items():
        check_digitiser(station.digitiser, f"station {number}")
    check_site(parts.site)


def _fresh(parts: tuple[Part, ...], known: tuple[Part, ...]) -> dict[int, Part]:
    """The parts that are not known, by number from 1."""
    if len(known) != len(parts):
        return dict(enumerate(parts, 1))
    return {
        number: part for number, (part, old) in enumerate(zip(parts, known, strict=True), 1) if part != old
    }


def check_new(parts: ScaleParts) -> None:
    """What a scale must be beside when it is new; a fault may change it.

    Raises BadInput for a cell without output, and for a receptor that its own dead load would tip over.
    """
    for number, cell in enumerate(parts.cells, 1):
        most = CELL["rated_output_mv_per_v"][1]
        _within(f"cell {number}, rated_output_mv_per_v", cell.rated_output_mv_per_v, LEAST_RATED, most)
    receptor = parts.receptor
    line = bearing(receptor).line
    if line is not None and receptor.dead_load_kg > 0.0:
        aside_m = line.distance_m(0.5 * receptor.length_m, 0.5 * receptor.width_m)
        if aside_m > line.beside_m:
            raise BadInput(
                f"receptor, supports: the dead load lies {aside_m:.3g} m beside their line",
                "supports around the middle of the receptor",
            )
    for number, share_kg in enumerate(dead_shares_kg(receptor), 1):
        if share_kg < -1e-9 * receptor.dead_load_kg:
            raise BadInput(
                f"support {number}: the dead load lifts it by {-share_kg:g} kg",
                "supports around the middle of the receptor",
            )


def _check_numbers_of_parts(parts: ScaleParts) -> None:
    count = len(parts.cells)
    if not 1 <= count <= MOST_CELLS:
        raise BadInput(f"cells: {count} of them", f"1 to {MOST_CELLS} cells")
    if len(parts.receptor.supports) != count:
        raise BadInput(f"receptor, supports: {len(parts.receptor.supports)} for {count} cells", "one a cell")
    if len(parts.wiring) != count:
        raise BadInput(f"wiring: {len(parts.wiring)} for {count} cells", "one a cell")
    uses = Counter(cell for station in parts.stations for cell in station.cells)
    for number, station in enumerate(parts.stations, 1):
        if not 1 <= len(station.cells) <= CHANNELS_PER_NODE:
            raise BadInput(
                f"station {number}, cells: {len(station.cells)} of them", f"1 to {CHANNELS_PER_NODE} cells"
            )
        for cell in station.cells:
            if not 0 <= cell < count:
                raise BadInput(f"station {number}, cells: there is no cell {cell + 1}", f"cells 1 to {count}")
    for cell in range(count):
        if uses[cell] != 1:
            raise BadInput(f"cell {cell + 1}: {uses[cell]} stations read it", "one station for every cell")


def check_receptor(receptor: Receptor) -> None:
    _check_figures(receptor, "receptor", RECEPTOR)
    length_m, width_m = receptor.length_m, receptor.width_m
    for number, support in enumerate(receptor.supports, 1):
        _check_figures(support, f"support {number}", SUPPORT)
        if not (0.0 <= support.x_m <= length_m and 0.0 <= support.y_m <= width_m):
            raise BadInput(
                f"support {number}: {support.x_m:g} m, {support.y_m:g} m lies outside the receptor",
                f"0 to {length_m:g} m along and 0 to {width_m:g} m across",
            )
    if len(receptor.touches) > MOST_TOUCHES:
        raise BadInput(f"receptor, touches: {len(receptor.touches)} of them", f"at most {MOST_TOUCHES}")
    for number, touch in enumerate(receptor.touches, 1):
        _check_figures(touch, f"touch {number}", TOUCH)


def check_cell(cell: Cell, name: str) -> None:
    _check_figures(cell, name, CELL)
    for number, term in enumerate(cell.creep, 1):
        for (field, limits), value in zip(CREEP.items(), term, strict=True):
            _within(f"{name}, creep term {number}, {field}", value, *limits)
    for arm in (*cell.open_arms, *(a for a, _ in cell.arm_shifts)):
        _known(f"{name}, arm", arm, ARMS)
    for arm, fraction in cell.arm_shifts:
        _within(f"{name}, shift of arm {arm}", fraction, *ARM_SHIFT)


def check_wiring(wiring: Wiring, name: str) -> None:
    _from_0(f"{name}, lead_resistance_ohm", wiring.lead_resistance_ohm)
    _within(f"{name}, lead_effect_per_k", wiring.lead_effect_per_k, *LEAD_EFFECT)
    shorted = [terminal for one, other, _ in wiring.shorts for terminal in (one, other)]
    for terminal in (*wiring.open, *(t for t, _ in (*wiring.leaks, *wiring.contacts)), *shorted):
        _known(f"{name}, terminal", terminal, TERMINALS)
    for pair in wiring.swapped:
        _known(f"{name}, pair", pair, PAIRS)
    for terminal, ohm in wiring.leaks:
        _above_0(f"{name}, leak at {terminal}", ohm)
    for terminal, ohm in wiring.contacts:
        _from_0(f"{name}, contact at {terminal}", ohm)
    for one, other, ohm in wiring.shorts:
        if one == other:
            raise BadInput(f"{name}: a short from {one} to itself", "two terminals")
        _from_0(f"{name}, short from {one} to {other}", ohm)


def check_digitiser(digitiser: Digitiser, name: str) -> None:
    _check_figures(digitiser, name, DIGITISER)
    _within(f"{name}, stuck_bits", digitiser.stuck_bits, 0, digitiser.bits - 1)
    _known(f"{name}, filter", digitiser.filter, STAGES)
    for channel in (*digitiser.frozen, *digitiser.missing):
        _within(f"{name}, channel", channel + 1, 1, CHANNELS_PER_NODE)
    if digitiser.noise_density_v_per_rthz > 0.0 and digitiser.noise_rms_counts > 0.0:
        raise BadInput(f"{name}: noise is given as density and as RMS counts", "one of the two")


def check_site(site: Site) -> None:
    _check_figures(site, "site", SITE)
    if site.wind is not None:
        _check_figures(site.wind, "site, wind", WIND)
    if site.vibration is not None:
        _check_figures(site.vibration, "site, vibration", VIBRATION)


def _check_figures(part: object, name: str, limits: Limits) -> None:
    for field, (least, most) in limits.items():
        _within(f"{name}, {field}", getattr(part, field), least, most)


def _above_0(what: str, value: float) -> None:
    if not 0.0 < value < math.inf:
        raise BadInput(f"{what}: {value:g}", _ABOVE_0)


def _from_0(what: str, value: float) -> None:
    if not 0.0 <= value < math.inf:
        raise BadInput(f"{what}: {value:g}", _FROM_0)


def _within(what: str, value: float, least: float, most: float) -> None:
    if not least <= value <= most:
        raise BadInput(f"{what}: {value:g}", f"{least:g} to {most:g}")


def _known(what: str, word: str, allowed: tuple[str, ...] | dict[str, int]) -> None:
    if word not in allowed:
        raise unknown(what, word, allowed)
