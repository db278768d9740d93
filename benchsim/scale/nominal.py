"""What the data sheets promise: the straight line from counts to kilograms that a host begins with."""

from __future__ import annotations

from benchsim.scale.parts import ScaleParts
from benchsim.scale.receptor import dead_shares_kg


def nominal(parts: ScaleParts) -> tuple[tuple[float, float], ...]:
    """Per cell (kg_per_count, zero_counts): mass = kg_per_count * (counts - zero_counts).

    A straight line with rated output and nominal zero balance, at the gravity and the temperature of
    calibration; zero_counts holds the cell's share of the dead load.  Leads and faults are not in it.
    """
    digitiser_of = {cell: s.digitiser for s in parts.stations for cell in s.cells}
    lines = []
    for number, (cell, dead_kg) in enumerate(zip(parts.cells, dead_shares_kg(parts.receptor), strict=True)):
        counts_per_mv_per_v = digitiser_of[number].counts_per_mv_per_v
        counts_per_kg = cell.rated_output_mv_per_v * counts_per_mv_per_v / cell.e_max_kg
        zero_counts = cell.zero_balance_mv_per_v * counts_per_mv_per_v + dead_kg * counts_per_kg
        lines.append((1.0 / counts_per_kg, zero_counts))
    return tuple(lines)
