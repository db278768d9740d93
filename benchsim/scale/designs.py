"""A small library of vehicles: our own designs, of usual proportions, each with what it carries where.

Source of the proportions: common practice, no source; none is a maker's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchsim.ground.commands import Axle
from benchsim.ground.errors import BadInput, unknown


@dataclass(frozen=True, slots=True)
class Design:
    """axles: by axle from the front (behind the first in m, kg when empty, share of the load).

    payload_kg: the most it carries.  springs_hz, springs_damping: of its body.  empty_height_m,
    load_height_m: of its own mass and of its load above the ground.
    """

    about: str
    axles: tuple[tuple[float, float, float], ...]
    payload_kg: float
    springs_hz: float
    springs_damping: float
    empty_height_m: float
    load_height_m: float

    @property
    def empty_kg(self) -> float:
        return math.fsum(empty for _, empty, _ in self.axles)

    def axles_with(self, load_kg: float) -> tuple[Axle, ...]:
        return tuple(Axle(empty + share * load_kg, behind_m) for behind_m, empty, share in self.axles)

    def centre_height_m(self, load_kg: float) -> float:
        """Of the mass of vehicle and load together."""
        moment = self.empty_kg * self.empty_height_m + load_kg * self.load_height_m
        return moment / (self.empty_kg + load_kg)


DESIGNS: dict[str, Design] = {
    "car": Design("two axles", ((0.0, 760.0, 0.4), (2.6, 540.0, 0.6)), 450.0, 1.3, 0.25, 0.55, 0.7),
    "van": Design("two axles", ((0.0, 1_150.0, 0.3), (3.6, 950.0, 0.7)), 1_300.0, 1.6, 0.2, 0.75, 1.0),
    "lorry": Design(
        "two axles", ((0.0, 3_900.0, 0.15), (4.6, 3_300.0, 0.85)), 10_500.0, 2.2, 0.15, 0.95, 1.6
    ),
    "tipper": Design(
        "three axles, two of them behind",
        ((0.0, 5_200.0, 0.14), (3.6, 3_500.0, 0.43), (4.95, 3_500.0, 0.43)),
        14_500.0, 2.4, 0.12, 1.05, 1.9,
    ),
    "tractor with semitrailer": Design(
        "two axles and three",
        (
            (0.0, 5_300.0, 0.07), (3.7, 3_300.0, 0.26),
            (9.3, 2_000.0, 0.2234), (10.61, 2_000.0, 0.2233), (11.92, 2_000.0, 0.2233),
        ),
        25_000.0, 1.9, 0.15, 1.1, 1.9,
    ),
    "lorry with trailer": Design(
        "three axles and two",
        (
            (0.0, 5_300.0, 0.1), (4.4, 3_400.0, 0.25), (5.75, 2_600.0, 0.21),
            (10.9, 2_300.0, 0.22), (15.4, 2_300.0, 0.22),
        ),
        23_000.0, 2.0, 0.15, 1.05, 1.8,
    ),
    "farm tractor with trailer": Design(
        "two axles and two",
        ((0.0, 2_300.0, 0.0), (2.7, 3_700.0, 0.14), (8.0, 2_100.0, 0.43), (9.5, 2_100.0, 0.43)),
        14_000.0, 2.6, 0.08, 1.2, 1.7,
    ),
    "forklift": Design(
        "two axles, the load before the first", ((0.0, 1_900.0, 1.35), (1.6, 2_600.0, -0.35)),
        2_500.0, 0.0, 0.15, 0.8, 1.1,
    ),
}  # fmt: skip


def design(name: str, load_kg: float) -> Design:
    """The design of that name, if it can carry so much.  Raises BadInput."""
    if name not in DESIGNS:
        raise unknown("vehicle", name, DESIGNS)
    found = DESIGNS[name]
    if load_kg > found.payload_kg:
        raise BadInput(f"a {name} with {load_kg:g} kg", f"at most {found.payload_kg:g} kg")
    return found
