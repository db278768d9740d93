"""What feeds a node: the mains or a battery that empties, and what it does when there is too little.

A battery's voltage follows its charge along a curve; under load a part of it is lost inside.  Below its
brown-out voltage a node stops.  Without its load the supply recovers, so a node at the edge starts and stops
again and again.  All of it follows from the time alone.  Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

MAINS, BATTERY = "mains", "battery"
HOUR_US = 3_600_000_000

# Voltage at rest over the nominal one, by what is left of the charge: like six cells of lead and acid.
DISCHARGE = ((0.0, 0.75), (0.05, 0.90), (0.2, 0.96), (0.5, 1.0), (0.9, 1.035), (1.0, 1.06))

# At the edge of its supply a node runs for so long, and is then off for so long.
RUNS_US, RESTS_US = 2_000_000, 3_000_000
# Less above its brown-out than this part of it is a low supply, which the node's lamp shows.
LOW_MARGIN = 0.05


@dataclass(frozen=True, slots=True)
class Supply:
    """source: "mains" or "battery".  nominal_v: with no load, a battery at half its charge.

    charge: what is left of it at the bench's start, 0 to 1.  lasts_h: how long a full one lasts at the node's
    draw; 0: its charge stays.  drop_v: what the node's draw loses on the way (cable, contacts, inside the
    battery; there it doubles toward the end).  brown_out_v: below it the node stops.
    """

    source: str = MAINS
    nominal_v: float = 12.0
    charge: float = 1.0
    lasts_h: float = 0.0
    drop_v: float = 0.3
    brown_out_v: float = 9.0

    @property
    def drains(self) -> bool:
        """Whether it changes by itself."""
        return self.source == BATTERY and self.lasts_h > 0.0

    def left(self, t_us: int) -> float:
        """The charge at a time, 0 to 1."""
        gone = t_us / HOUR_US / self.lasts_h if self.drains else 0.0
        return max(0.0, min(1.0, self.charge - gone))

    def rest_v(self, t_us: int) -> float:
        """The voltage without load."""
        if self.source == MAINS:
            return self.nominal_v
        return self.nominal_v * _along(DISCHARGE, self.left(t_us))

    def load_v(self, t_us: int) -> float:
        """The voltage at the node while it runs."""
        drop_v = self.drop_v
        if self.source == BATTERY:
            drop_v *= 2.0 - self.left(t_us)
        return max(0.0, self.rest_v(t_us) - drop_v)

    def is_at_its_edge(self, t_us: int) -> bool:
        """Whether it is too low under load and not without: the node starts and stops."""
        return self.load_v(t_us) < self.brown_out_v <= self.rest_v(t_us)

    def is_low(self, t_us: int) -> bool:
        """Whether little is left before the node stops."""
        return self.load_v(t_us) < self.brown_out_v * (1.0 + LOW_MARGIN)

    def carries(self, t_us: int) -> bool:
        """Whether the node runs at that time."""
        if self.load_v(t_us) >= self.brown_out_v:
            return True
        return self.is_at_its_edge(t_us) and t_us % (RUNS_US + RESTS_US) >= RESTS_US


def _along(curve: tuple[tuple[float, float], ...], at: float) -> float:
    """A curve of straight pieces."""
    for (x0, y0), (x1, y1) in pairwise(curve):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return curve[-1][1]
