"""Any figures within the limits make a scale that runs: no overflow, no NaN, every code within its stops."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.commands import Axle, Drive, Fill, Place, Roam, Walk
from benchsim.ground.readings import ChannelStatus
from benchsim.scale import validate
from benchsim.scale.bridge import ARMS, PAIRS, TERMINALS
from benchsim.scale.filters import STAGES
from benchsim.scale.nominal import nominal
from benchsim.scale.parts import (
    Cell,
    Digitiser,
    Receptor,
    ScaleParts,
    Site,
    Station,
    Support,
    Touch,
    Vibration,
    Wind,
    Wiring,
)
from benchsim.scale.receptor import bearing
from tests.scale.made import S, scale


def between(limits: tuple[float, float]) -> st.SearchStrategy[float]:
    """Anything allowed, and often the very ends."""
    return st.one_of(st.sampled_from(limits), st.floats(*limits))


def figures(limits: validate.Limits, without: tuple[str, ...] = ()) -> dict[str, st.SearchStrategy[float]]:
    return {field: between(ends) for field, ends in limits.items() if field not in without}


CREEP = st.tuples(*(between(ends) for ends in validate.CREEP.values()))
CELL = st.builds(
    Cell,
    rated_output_mv_per_v=st.floats(validate.LEAST_RATED, 100.0),
    creep=st.lists(CREEP, max_size=3).map(tuple),
    open_arms=st.lists(st.sampled_from(ARMS), max_size=2).map(tuple),
    arm_shifts=st.lists(st.tuples(st.sampled_from(ARMS), between(validate.ARM_SHIFT)), max_size=2).map(tuple),
    **figures(validate.CELL, ("rated_output_mv_per_v",)),
)
OHM = st.floats(1e-9, 1e12)
WIRING = st.builds(
    Wiring,
    st.one_of(st.just(0.0), OHM),
    st.booleans(),
    st.lists(st.sampled_from(TERMINALS), max_size=3).map(tuple),
    st.lists(st.sampled_from(PAIRS), max_size=2).map(tuple),
    st.lists(st.tuples(st.sampled_from(TERMINALS), OHM), max_size=3).map(tuple),
    st.lists(st.tuples(st.sampled_from(TERMINALS), st.one_of(st.just(0.0), OHM)), max_size=3).map(tuple),
    st.lists(
        st.sampled_from(list(itertools.combinations(TERMINALS, 2))).flatmap(
            lambda pair: st.tuples(st.just(pair[0]), st.just(pair[1]), st.one_of(st.just(0.0), OHM))
        ),
        max_size=3,
    ).map(tuple),
)
DIGITISER = st.builds(
    Digitiser,
    **figures(validate.DIGITISER, ("bits", "filter_samples", "rate_hz", "noise_rms_counts")),
    rate_hz=st.one_of(st.sampled_from([0.1, 80.0]), st.floats(0.1, 300.0)),
    bits=st.integers(8, 32),
    filter=st.sampled_from(sorted(STAGES)),
    filter_samples=st.sampled_from([1, 2, 7, validate.LONGEST_BOX]),
    stuck_bits=st.integers(0, 7),
)
TOUCH = st.builds(
    Touch, st.floats(0.0, 1e4), st.floats(0.0, 1e4), bonded=st.booleans(), **figures(validate.TOUCH)
)
WIND = st.builds(Wind, **figures(validate.WIND))
VIBRATION = st.builds(Vibration, **figures(validate.VIBRATION))
PLACE = st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0))


@st.composite
def any_parts(draw: st.DrawFn) -> ScaleParts:
    uneven = draw(st.booleans())
    receptor = draw(st.builds(Receptor, supports=st.just(()), **figures(validate.RECEPTOR)))
    cells = tuple(draw(st.lists(CELL, min_size=1, max_size=4)))
    support = st.builds(
        Support, st.just(0.0), st.just(0.0), anchored=st.booleans(), **figures(validate.SUPPORT)
    )
    supports = tuple(
        replace(
            draw(support) if uneven else Support(0.0, 0.0),
            x_m=draw(PLACE)[0] * receptor.length_m,
            y_m=draw(PLACE)[1] * receptor.width_m,
        )
        for _ in cells
    )
    touches = tuple(draw(st.lists(TOUCH, max_size=2))) if uneven else ()
    wiring = tuple(draw(WIRING) for _ in cells)
    station = Station(tuple(range(len(cells))), draw(DIGITISER))
    unrest = {"wind": st.one_of(st.none(), WIND), "vibration": st.one_of(st.none(), VIBRATION)}
    site = draw(st.builds(Site, **figures(validate.SITE), **unrest))
    return ScaleParts(replace(receptor, supports=supports, touches=touches), cells, wiring, (station,), site)


@given(made=any_parts(), mass_kg=st.one_of(st.just(1e9), st.floats(1e-6, 1e9)), at=PLACE)
def test_any_scale_within_the_limits_runs(made: ScaleParts, mass_kg: float, at: tuple[float, float]) -> None:
    receptor = made.receptor
    # Supports that lie anywhere need not carry a dead load; a new scale must.
    running = scale(replace(made, receptor=replace(receptor, dead_load_kg=0.0)))
    running.change(made, S // 2)
    line = bearing(receptor).line
    if line is not None:  # a load beside it would tip the receptor over
        running.do(Place("load", mass_kg, line.x_m + at[0] * line.dx_m, line.y_m + at[0] * line.dy_m), S)
    else:
        running.do(Place("load", mass_kg, at[0] * receptor.length_m, at[1] * receptor.width_m), S)
        lorry = Drive(
            "lorry", (Axle(mass_kg, 0.0), Axle(1e9, 1e4)), 100.0, receptor.length_m, 0.0, S,
            springs_hz=20.0, springs_damping=0.03, edge_step_m=0.2,
        )  # fmt: skip
        running.do(lorry, S)
        running.do(Fill("grain", mass_kg, 1e9, 0.0, 0.0, 1_000.0), S)
        running.do(Roam("cow", mass_kg, 0.0, 0.0, 1e4, 1.0), S)
        running.do(Walk("guard", mass_kg, 0.0, 100.0, 10.0, 1.0), S)
    running.change(replace(made, site=replace(made.site, temperature_c=20.0)), 2 * S)
    block = running.read(0, 3 * S)
    bits = made.stations[0].digitiser.bits
    assert np.all(block.counts >= -(2 ** (bits - 1)))
    assert np.all(block.counts <= 2 ** (bits - 1) - 1)
    assert np.all(np.diff(block.t_us) > 0)
    assert np.all(block.status <= sum(ChannelStatus))
    assert np.all(np.isfinite(running.true_cells_kg(np.arange(0, 3 * S, 100_000))))
    assert np.all(np.isfinite(nominal(made)))
