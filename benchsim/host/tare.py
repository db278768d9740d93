"""Tare and preset tare: whole counts of d, so that gross, tare and net always add up as printed.

Net is gross less tare in counts of d, never a difference that is rounded by itself.  The tare interval is
the scale interval.  Source: HB 44 S.2.3, R 76-1 4.6.2, 4.7; the agreement of printed gross, tare and net:
Canada, laboratory manual LG-8.01.
"""

from __future__ import annotations

from decimal import Decimal

from benchsim.ground.rounding import count_of_exact, shown


class Tare:
    """tare_d: the tare in force, 0 for none.  preset: it was given, not weighed."""

    __slots__ = ("_capacity_d", "_interval", "_unit", "preset", "tare_d")

    def __init__(self, capacity_d: int, interval: Decimal, unit: str) -> None:
        self._capacity_d, self._interval, self._unit = capacity_d, interval, unit
        self.tare_d = 0
        self.preset = False

    def weighed(self, gross_d: int) -> None:
        """The load on the scale becomes the tare; an earlier tare is replaced."""
        self.tare_d, self.preset = gross_d, False

    def refuses_preset(self, value: Decimal) -> str:
        """Why this value cannot be a preset tare; "" when it can."""
        if not value.is_finite():
            return f"{value} is not a weight"
        if value < 0:
            return f"a preset tare of {value} {self._unit} is below zero"
        most = self._capacity_d * self._interval
        if value > most:
            largest = shown(self._capacity_d, self._interval)
            return f"a preset tare of {value} {self._unit} is above Max, {largest} {self._unit}"
        return ""

    def given(self, value: Decimal) -> None:
        """A preset tare, rounded to d; what rounds to 0 clears."""
        self.tare_d = count_of_exact(value, self._interval) if 2 * value >= self._interval else 0
        self.preset = self.tare_d != 0

    def clear(self) -> None:
        self.tare_d, self.preset = 0, False
