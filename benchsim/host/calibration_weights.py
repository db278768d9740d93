"""Test weights: what one of each class of R 111 may be wrong by, and what the rules ask of weights and loads.

What is not known here is said to be so: it must be looked up in the rules that are in force at the place.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.units import mass_text
from benchsim.host.calibration_parts import Settings
from benchsim.rules.profile import Profile

# OIML R 111-1:2004, Table 1: largest error in mg at first verification, by nominal mass in kg.  Seen, in
# copies, for M1 to M3 up to 50 kg and for F1 to M2 at 2 000 and 5 000 kg; the rest from memory.
CLASSES = ("F1", "F2", "M1", "M1-2", "M2", "M2-3", "M3")
_ERRORS_MG: dict[int, tuple[int | None, ...]] = {
    5000: (25_000, 80_000, 250_000, 500_000, 800_000, 1_600_000, 2_500_000),
    2000: (10_000, 30_000, 100_000, 200_000, 300_000, 600_000, 1_000_000),
    1000: (5_000, 16_000, 50_000, 100_000, 160_000, 300_000, 500_000),
    500: (2_500, 8_000, 25_000, 50_000, 80_000, 160_000, 250_000),
    200: (1_000, 3_000, 10_000, 20_000, 30_000, 60_000, 100_000),
    100: (500, 1_600, 5_000, 10_000, 16_000, 30_000, 50_000),
    50: (250, 800, 2_500, 5_000, 8_000, 16_000, 25_000),
    20: (100, 300, 1_000, None, 3_000, None, 10_000),
    10: (50, 160, 500, None, 1_600, None, 5_000),
    5: (25, 80, 250, None, 800, None, 2_500),
    2: (10, 30, 100, None, 300, None, 1_000),
    1: (5, 16, 50, None, 160, None, 500),
}
WEIGHTS_SHARE = Decimal(1) / Decimal(3)  # of the scale's tolerance; R 76-1 3.7.1 (memory)
LARGE_KG = 5000  # of test weights; from there on in pieces of a ton
NOT_KNOWN = "not known here: look it up in the rules in force at the place"


def weight_error_kg(accuracy_class: str, nominal_kg: Decimal) -> Decimal:
    """What one weight may be wrong by, in kg.  Source: OIML R 111-1:2004, Table 1.

    Raises BadInput: no such class, no such nominal mass, none of that class.
    """
    if accuracy_class not in CLASSES:
        raise unknown("class of test weights", accuracy_class, CLASSES)
    if nominal_kg not in _ERRORS_MG:
        sizes = ", ".join(mass_text(size) for size in sorted(_ERRORS_MG))
        raise BadInput(f"a test weight of {mass_text(nominal_kg)}", f"one of {sizes} (R 111-1 Table 1)")
    error_mg = _ERRORS_MG[int(nominal_kg)][CLASSES.index(accuracy_class)]
    if error_mg is None:
        of_size = [c for c in CLASSES if _ERRORS_MG[int(nominal_kg)][CLASSES.index(c)] is not None]
        found = f"no weight of {mass_text(nominal_kg)} is of class {accuracy_class}"
        raise BadInput(found, f"classes of that size: {', '.join(of_size)} (R 111-1 Table 1)")
    return Decimal(error_mg) / 1_000_000


def usual_piece_kg(weights_kg: Decimal) -> Decimal:
    """The nominal mass of one weight where nobody says: of 20 kg, or of 1 t where there are tons of them.

    Source: common practice, no source.
    """
    most_kg = min(weights_kg, Decimal(1000 if weights_kg >= LARGE_KG else 20))
    return Decimal(max(size for size in _ERRORS_MG if size == 1 or size <= most_kg))


def load_error_kg(load_kg: Decimal, accuracy_class: str, piece_kg: Decimal) -> Decimal:
    """What a load of such weights may be wrong by, all the same way: the pieces' errors in proportion."""
    return weight_error_kg(accuracy_class, piece_kg) * load_kg / piece_kg


def good_enough(load_kg: Decimal, piece_kg: Decimal, allowed_kg: Decimal) -> tuple[str, ...]:
    """The classes whose weights, piece_kg each, make up the load within the error that is allowed."""
    known = [c for c, mg in zip(CLASSES, _ERRORS_MG.get(int(piece_kg), ()), strict=False) if mg is not None]
    return tuple(c for c in known if load_error_kg(load_kg, c, piece_kg) <= allowed_kg)


@dataclass(frozen=True, slots=True)
class Asked:
    """Something that rules ask of weights or loads.  met: None where that cannot be told here."""

    what: str
    asked: str
    clause: str
    found: str
    met: bool | None


def asked_of(settings: Settings) -> tuple[Asked, ...]:
    """What the profile's standard asks for, as far as it is known here."""
    if "R 76" in settings.profile.standard:
        weights = _r76_weights(settings)
    else:
        text = _weights_text(settings)
        weights = [Asked("error of the test weights", NOT_KNOWN, settings.profile.standard, text, None)]
    amount = "least amount of test weights, and how often they may be substituted"
    return *weights, _corner(settings), Asked(amount, NOT_KNOWN, "local rules", "", None)


def _weights_text(settings: Settings) -> str:
    error_kg = load_error_kg(settings.weights_kg, settings.weight_class, settings.piece_kg)
    return f"{mass_text(settings.weights_kg)} of class {settings.weight_class}: {mass_text(error_kg)}"


def _r76_weights(settings: Settings) -> list[Asked]:
    rows = []
    for load_kg in sorted({settings.corner_kg, settings.weights_kg}):
        allowed_kg = settings.tolerance_kg(load_kg) * WEIGHTS_SHARE
        error_kg = load_error_kg(load_kg, settings.weight_class, settings.piece_kg)
        enough = ", ".join(good_enough(load_kg, settings.piece_kg, allowed_kg)) or "none"
        rows.append(
            Asked(
                f"error of the test weights at {mass_text(load_kg)}",
                f"at most {float(allowed_kg):.4g} kg, a third of the error allowed there; classes: {enough}",
                "R 76-1 3.7.1 (memory); R 111-1 Table 1",
                f"{settings.weight_class} in pieces of {mass_text(settings.piece_kg)}: {mass_text(error_kg)}",
                error_kg <= allowed_kg,
            )
        )
    return rows


def corner_wanted_kg(capacity_kg: Decimal, supports: int, profile: Profile) -> Decimal | None:
    """What the profile wants over each place when that is tested; None: not known here."""
    wanted = _corner_part(profile, supports)
    return None if wanted is None else Decimal(float(Fraction(capacity_kg) * wanted[1]))


def _corner_part(profile: Profile, supports: int) -> tuple[str, Fraction, str] | None:
    """The profile's key, the part of Max, and the part in words.

    Source: R 76-1 3.6.2, HB 44 N.1.3, by way of the profile.  Additive tare is not known here.
    """
    tests = profile.tests
    if tests.shift_load is not None:
        return "shift_load", Fraction(tests.shift_load), f"{100 * float(tests.shift_load):g} % of Max, once"
    if tests.eccentricity_supports is not None and supports > tests.eccentricity_supports:
        return "eccentricity_supports", Fraction(1, supports - 1), f"Max / ({supports} - 1)"
    for key in ("eccentricity_support_load", "eccentricity_load"):
        if (part := getattr(tests, key)) is not None:
            return key, Fraction(part), f"{part} of Max"
    return None


def _corner(settings: Settings) -> Asked:
    """The load of a test place by place, by the profile."""
    profile, found = settings.profile, mass_text(settings.corner_kg)
    what, wanted = "load over each place when it is tested", _corner_part(profile, settings.cells)
    if wanted is None:
        return Asked(what, NOT_KNOWN, profile.standard, found, None)
    key, part, words = wanted
    wanted_kg, entry = float(Fraction(settings.capacity_kg) * part), profile.entry(key)
    clause = f"{profile.standard} {entry.clause}" + (" (memory)" if entry.mark == "memory" else "")
    met = float(settings.corner_kg + settings.interval_kg) > wanted_kg
    return Asked(what, f"{words}: {wanted_kg:.6g} kg", clause, found, met)
