"""A finished calibration as figures that are kept, and the fingerprints made from them.

The whole scale has one fingerprint.  Each address has one of its own, over the settings and the cells that
its node reads: the node offers it when it pairs (`fingerprint`), the host is told it (`sealed_fingerprint`),
and where the two differ the host does not pair: *calibration fingerprint changed*.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from benchsim.host.calibration_parts import Settings
from benchsim.host.parts import CellSeat
from benchsim.link.parts import FINGERPRINT_OCTETS

FORM = "benchsim calibration 1"
DIGITS = 12
"""Digits of a figure that count: below them lies nothing that was measured."""


@dataclass(frozen=True, slots=True)
class Seal:
    """settings: the lines that hold for every cell.  seats: figures of each cell, rounded to DIGITS."""

    settings: tuple[tuple[str, str], ...]
    seats: tuple[CellSeat, ...]

    @property
    def whole(self) -> bytes:
        """The fingerprint of the whole scale, 8 octets."""
        return _fingerprint([*self._head(), *map(_line, enumerate(self.seats, 1))])

    @property
    def nodes(self) -> dict[int, bytes]:
        """The fingerprint of each address, 8 octets, by address."""
        found: dict[int, bytes] = {}
        for address in sorted({seat.address for seat in self.seats}):
            lines = [_line(item) for item in enumerate(self.seats, 1) if item[1].address == address]
            found[address] = _fingerprint([*self._head(), f"address {address}", *lines])
        return found

    def _head(self) -> list[str]:
        return [FORM, *(f"{name} {value}" for name, value in self.settings)]

    def text(self) -> str:
        """The seal as a TOML document."""
        head = [
            f'form = "{FORM}"', 'simulated = "simulated weights: this proves software, never an instrument"',
            f'fingerprint = "{self.whole.hex()}"', "", "[settings]",
            *(f"{name} = {json.dumps(value)}" for name, value in self.settings), "", "[fingerprints]",
            *(f'{address} = "{octets.hex()}"' for address, octets in self.nodes.items()),
        ]  # fmt: skip
        for number, seat in enumerate(self.seats, 1):
            head += [
                "", "[[cells]]", f"cell = {number}", f"address = {seat.address}", f"channel = {seat.channel}",
                f"kg_per_count = {seat.kg_per_count!r}", f"zero_counts = {seat.zero_counts!r}",
            ]  # fmt: skip
        return "\n".join([*head, ""])


def seal(
    settings: Settings, kg_per_count: Sequence[float], zero_counts: Sequence[float], gravity: float
) -> Seal:
    """Of final coefficients and zeros, one a cell.  gravity: factor that was applied for the place of use."""
    seats = tuple(
        CellSeat(address, channel, _rounded(k), _rounded(zero))
        for (address, channel), k, zero in zip(settings.places, kg_per_count, zero_counts, strict=True)
    )
    lines = (
        ("capacity", f"{settings.capacity_kg.normalize():f} kg"),
        ("interval", f"{settings.interval_kg.normalize():f} kg"),
        ("verification_interval", f"{settings.e_kg.normalize():f} kg"),
        ("profile", settings.profile.name),
        ("gravity_factor", repr(_rounded(gravity))),
    )
    return Seal(lines, seats)


def _rounded(figure: float) -> float:
    return float(f"{figure:.{DIGITS}g}") + 0.0  # no negative zero


def _line(item: tuple[int, CellSeat]) -> str:
    number, seat = item
    figures = f"{seat.kg_per_count:.{DIGITS - 1}e} {seat.zero_counts:.{DIGITS - 1}e}"
    return f"cell {number} address {seat.address} channel {seat.channel} {figures}"


def _fingerprint(lines: Sequence[str]) -> bytes:
    """SHA-256 (FIPS 180-4) over the lines, cut."""
    return hashlib.sha256("\n".join(lines).encode()).digest()[:FINGERPRINT_OCTETS]
