"""Tare and preset tare: whole counts of d, so that gross, tare and net always add up as printed.

Net is gross less tare in counts of d, never a difference that is rounded by itself.  The tare interval is
the scale interval.  Source: HB 44 S.2.3, R 76-1 4.6.2, 4.7; the agreement of printed gross, tare and net:
Canada, laboratory manual LG-8.01.
"""

from __future__ import annotations

from decimal import Decimal

from benchsim.ground.rounding import count_of_exact, shown
from benchsim.host.parts import HostParts
from benchsim.rules.profile import Profile


class Tare:
    """tare_d: the tare in force, 0 for none.  preset: it was given, not weighed."""

    __slots__ = ("_interval", "_most_d", "_unit", "preset", "tare_d")

    def __init__(self, parts: HostParts, profile: Profile) -> None:
        self._interval, self._unit = parts.interval, parts.unit
        self._most_d = int(parts.capacity_kg * profile.largest_tare / parts.interval)
        self.tare_d = 0
        self.preset = False

    def refuses(self, gross_d: int) -> str:
        """Why this load cannot become the tare; "" when it can."""
        return self._too_large("tare", gross_d * self._interval) if gross_d > self._most_d else ""

    def weighed(self, gross_d: int) -> None:
        """The load on the scale becomes the tare; an earlier tare is replaced."""
        self.tare_d, self.preset = gross_d, False

    def refuses_preset(self, value: Decimal) -> str:
        """Why this value cannot be a preset tare; "" when it can."""
        if not value.is_finite():
            return f"{value} is not a weight"
        if value < 0:
            return f"a preset tare of {value} {self._unit} is below zero"
        return self._too_large("preset tare", value) if value > self._most_d * self._interval else ""

    def given(self, value: Decimal) -> None:
        """A preset tare, rounded to d; what rounds to 0 clears."""
        self.tare_d = count_of_exact(value, self._interval) if 2 * value >= self._interval else 0
        self.preset = self.tare_d != 0

    def _too_large(self, what: str, value: Decimal) -> str:
        most = shown(self._most_d, self._interval)
        return f"a {what} of {value} {self._unit} is above the largest tare, {most} {self._unit}"

    def clear(self) -> None:
        self.tare_d, self.preset = 0, False
