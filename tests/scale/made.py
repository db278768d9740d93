"""Small scales to test on: parts with all disturbances off unless a test turns them on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.randomness import Streams
from benchsim.ground.readings import Counts
from benchsim.scale.parts import Cell, Digitiser, Receptor, ScaleParts, Site, Station, Support, Wiring
from benchsim.scale.scale import Scale

S = 1_000_000
CORNERS = ((0.0, 0.0), (0.0, 3.0), (8.0, 0.0), (8.0, 3.0))
# Fine enough to see 1e-9 of rated output; no noise.
FINE = Digitiser(bits=32)
FINE_COUNTS_PER_MV_PER_V = 2.0**31 / 4.0


def parts(
    cell: Cell | None = None,
    at: Sequence[tuple[float, float]] = CORNERS,
    digitiser: Digitiser = FINE,
    dead_load_kg: float = 0.0,
    natural_frequency_hz: float = 8.0,
    damping_ratio: float = 0.08,
    wiring: Wiring | None = None,
    site: Site | None = None,
) -> ScaleParts:
    """A receptor of 8 m by 3 m on equal cells, four a station."""
    count = len(at)
    return ScaleParts(
        Receptor(
            8.0,
            3.0,
            dead_load_kg,
            tuple(Support(x, y) for x, y in at),
            natural_frequency_hz,
            damping_ratio,
        ),
        (cell or Cell(30_000.0),) * count,
        (wiring or Wiring(),) * count,
        tuple(
            Station(tuple(range(i, min(i + 4, count))), digitiser) for i in range(0, count, 4)
        ),
        site or Site(),
    )  # fmt: skip


def one_cell(
    cell: Cell, digitiser: Digitiser = FINE, wiring: Wiring | None = None, site: Site | None = None
) -> ScaleParts:
    """One cell under the middle, on a deck so stiff and damped that a load is on it within 20 ms."""
    return parts(cell, ((4.0, 1.5),), digitiser, 0.0, 200.0, 0.9, wiring, site)


def scale(made: ScaleParts, seed: int = 1) -> Scale:
    return Scale(made, Streams(seed))


def output_mv_per_v(block: Counts) -> NDArray[np.float64]:
    """What a fine digitiser's counts say, (n, channels)."""
    return np.asarray(block.counts / FINE_COUNTS_PER_MV_PER_V)
