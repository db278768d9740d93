"""An instrument that is nothing but a formula: what weight it makes of a load, and how it shows that."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from benchsim.ground.commands import ClearTare, InstrumentCommand, Tare
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import Receptor, Support
from benchsim.verify.reader import Answer, Reading
from benchsim.verify.subject import Subject

DECK = Receptor(1.0, 1.0, 10.0, tuple(Support(x, y) for x in (0.1, 0.9) for y in (0.1, 0.9)))


def subject(rules: str, max_kg: str, d_kg: str, e_kg: str | None = None, stage: str = "initial") -> Subject:
    """A scale on four cells."""
    d = Decimal(d_kg)
    return Subject(load_profile(rules), stage, Decimal(max_kg), d, d if e_kg is None else Decimal(e_kg), DECK)


class Model:
    """Shows d x floor(P/d + 1/2) of P = weight_of(load), at once and always at rest.

    takes_d_per_s: what a zero-tracking that asks nobody takes out of it, in d per second.  tare_step_kg: to
    what tares are rounded; "" has none.
    """

    def __init__(
        self,
        d_kg: str,
        weight_of: Callable[[Fraction], Fraction] = lambda x: x,
        takes_d_per_s: int = 0,
        tare_step_kg: str = "",
    ) -> None:
        self._d = Fraction(d_kg)
        self._weight_of, self._takes = weight_of, takes_d_per_s
        self._loads: dict[int, Fraction] = {}
        self._zero = Fraction(0)
        self._number = 0
        self._tare, self._tare_step = Fraction(0), Fraction(tare_step_kg or 0)
        self.now_us = 0

    @property
    def _weight(self) -> Fraction:
        return self._weight_of(sum(self._loads.values(), Fraction(0))) - self._zero

    def place(self, mass_kg: float, x_m: float, y_m: float) -> int:
        self._number += 1
        # A weight is a whole number of nanograms, or its float would show.
        self._loads[self._number] = Fraction(round(mass_kg * 10**12), 10**12)
        return self._number

    def take_off(self, load: int) -> None:
        del self._loads[load]

    def wait(self, us: int) -> None:
        self.now_us += us
        most = self._takes * self._d * us / 1_000_000
        self._zero += max(-most, min(most, self._weight))

    def read(self) -> Reading:
        count = math.floor((self._weight - self._tare) / self._d + Fraction(1, 2))
        return Reading(Decimal(count) * Decimal(str(float(self._d))), motion=False, net=self._tare != 0)

    def command(self, command: InstrumentCommand) -> Answer:
        if not self._tare_step or not isinstance(command, Tare | ClearTare):
            return Answer(False)
        whole = math.floor(self._weight / self._tare_step + Fraction(1, 2)) * self._tare_step
        self._tare = whole if isinstance(command, Tare) else Fraction(0)
        return Answer(True)
