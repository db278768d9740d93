"""From what presses on the deck to the masses that a station's cells carry, before the deck's own swing.

Statics alone: who bears and what else the deck touches (contact.py); and what something that binds beside a
cell keeps from it, which depends on the way there.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.contact import Contact, contact
from benchsim.scale.loads import Deck
from benchsim.scale.parts import Support
from benchsim.scale.recursion import Pendulum, clamp_scan, pendulum

Floats = NDArray[np.float64]
Sums = tuple[Floats, Floats, Floats]


@dataclass(frozen=True, slots=True)
class Step:
    """At t_us the masses on the cells change by mass_kg, (cells,), at once."""

    t_us: int
    mass_kg: Floats


@dataclass(frozen=True, slots=True)
class Binding:
    """Dry friction beside the cells: a spring and a slider in series beside each.

    share: of a change of load, what goes beside the cell until the slider slips; most_kg: at which it does.
    Each (cells, 1).  Source: the elastic and perfectly plastic element (Prandtl); rate does not matter.
    """

    share: Floats
    most_kg: Floats

    @classmethod
    @functools.lru_cache(maxsize=64)
    def of(cls, supports: tuple[Support, ...], cells: tuple[int, ...]) -> Binding | None:
        """None: nothing binds at any of these cells."""
        own = [supports[cell] for cell in cells]
        if not any(s.binding_kg and s.binding_share for s in own):
            return None
        return cls(
            np.array([[s.binding_share] for s in own]),
            np.array([[s.binding_kg if s.binding_share else 0.0] for s in own]),
        )

    def past(self, mass_kg: Floats, held_kg: Floats, before_kg: Floats) -> tuple[Floats, Floats]:
        """What reaches the cells of such masses, and what is held beside them; both (cells, n).

        held_kg, before_kg: (cells,), what was held at the last sample, and the mass at it.
        """
        pull = self.share * mass_kg
        slider = self.share[:, 0] * before_kg - held_kg
        lower, upper = pull - self.most_kg, pull + self.most_kg
        lower[:, 0] = upper[:, 0] = np.minimum(np.maximum(slider, lower[:, 0]), upper[:, 0])
        held = pull - clamp_scan(lower, upper)
        return mass_kg - held, held


@dataclass(frozen=True, slots=True)
class Forces:
    """Masses that the station's cells carry.  dead_kg, standing_kg: (cells, 1), of the receptor alone and of
    all that stands.  standing: the sums of all that stands, dead load included.
    """

    deck: Deck
    contact: Contact
    cells: tuple[int, ...]
    dead_kg: Floats
    standing: tuple[float, float, float]
    standing_kg: Floats
    response: Pendulum
    binding: Binding | None

    @classmethod
    def of(cls, deck: Deck, cells: tuple[int, ...], rate_hz: float) -> Forces:
        receptor = deck.receptor
        on = contact(receptor)
        dead = receptor.dead_load_kg
        empty = dead, dead * 0.5 * receptor.length_m, dead * 0.5 * receptor.width_m
        put = deck.standing()
        standing = empty[0] + put[0], empty[1] + put[1], empty[2] + put[2]
        response = pendulum(receptor.natural_frequency_hz, receptor.damping_ratio, rate_hz)
        return cls(
            deck, on, cells, _carried(on, cells, empty), standing, _carried(on, cells, standing), response,
            Binding.of(receptor.supports, cells),
        )  # fmt: skip

    def along(self, t_us: NDArray[np.int64]) -> Floats:
        """Static masses on the cells, (cells, n), at rising instants."""
        return self._of(self._sums(t_us))

    def at(self, t_us: int) -> Floats:
        """The same at one instant, (cells,)."""
        if not self.deck.moves(t_us):
            return self.standing_kg[:, 0]
        return self.along(np.array([t_us]))[:, 0]

    def steps(self, first_us: int, end_us: int) -> list[Step]:
        """What comes on the deck and goes off at once, at first_us or later, before end_us."""
        found: dict[int, list[tuple[float, float, float]]] = {}
        for t_us, mass_kg, x_m, y_m in self.deck.steps(first_us, end_us):
            found.setdefault(t_us, []).append((mass_kg, mass_kg * x_m, mass_kg * y_m))
        return [Step(t_us, self._jump(t_us, parts)) for t_us, parts in found.items()]

    def _jump(self, t_us: int, parts: list[tuple[float, float, float]]) -> Floats:
        before = self._sums(np.array([t_us]))
        after = before
        for mass, x, y in parts:
            after = after[0] + mass, after[1] + x, after[2] + y
        return (self._of(after) - self._of(before))[:, 0]

    def _sums(self, t_us: NDArray[np.int64]) -> Sums:
        mass, x, y = self.deck.pressing(t_us)
        mass, x, y = mass + self.standing[0], x + self.standing[1], y + self.standing[2]
        unrest, receptor = self.deck.unrest, self.deck.receptor
        if unrest is None:
            return mass, x, y
        heavier, lift_kg = unrest.heavier(t_us), unrest.lift_kg(t_us)
        return (
            heavier * mass - lift_kg,
            heavier * x - lift_kg * (0.5 * receptor.length_m),
            heavier * y - lift_kg * (0.5 * receptor.width_m),
        )

    def _of(self, sums: Sums) -> Floats:
        return self.contact.carried(*sums)[list(self.cells)]


def _carried(on: Contact, cells: tuple[int, ...], sums: tuple[float, float, float]) -> Floats:
    """Under sums that stay, (cells, 1)."""
    mass, x, y = (np.array([value]) for value in sums)
    return on.carried(mass, x, y)[list(cells)]
