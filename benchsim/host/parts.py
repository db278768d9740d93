"""What the reference host is set to.  No behaviour."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class CellSeat:
    """Where one cell's counts come from and what a count is worth there.

    address, channel: node and channel (from 0).  kg_per_count: the calibration coefficient.
    zero_counts: counts of this cell under the dead load when the scale was calibrated.
    """

    address: int
    channel: int
    kg_per_count: float
    zero_counts: float


@dataclass(frozen=True, slots=True)
class HostParts:
    """The host's settings.  Masses in kg, whatever unit is shown (only kg for now).

    capacity_kg: Max.  update_hz: indications a second (a whole divisor of 1 000 000 us).
    averaging_us: length of the moving mean over instants that one indication shows.
    waiting_us: how long a gap may be waited for before the indication is refused.
    verification_interval: e; None: it is d.
    seats: one a cell, in cell order.
    step_d: how many d the steps are wide in which it shows; 1 in a right host.  held: it goes on giving
    out its last weight as if it were new, which no right host does.
    """

    profile: str
    unit: str
    capacity_kg: Decimal
    interval: Decimal
    rate_hz: int
    seats: tuple[CellSeat, ...]
    update_hz: int = 10
    averaging_us: int = 400_000
    waiting_us: int = 1_000_000
    zero_tracking: bool = True
    initial_zero: bool = True
    verification_interval: Decimal | None = None
    step_d: int = 1
    held: bool = False
