"""Every fault of the catalogue on a running bench: something is seen while it lasts, and nothing afterwards.

Alone and two at a time, at once and growing.  The whole scale runs, so what is compared is what a host knows:
indications, each cell's weight, and the links.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchsim.bench.active import WHOLE
from benchsim.bench.bench import Bench
from benchsim.faults.fault import Entry, Value, catalogue
from benchsim.ground import commands as ask
from benchsim.link.impairments.delay import Delay
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import Wiring
from tests.bench.plans import plan, scale_parts

S = 1_000_000
BEGINS_S, ENDS_S, LOOK_S = 8.0, 13.0, 22.0
AS_MADE = scale_parts(8)
# Cells that feel the weather and leads that are long, or a fault of either would have nothing to act on.
HEALTHY = replace(
    AS_MADE,
    cells=tuple(replace(c, zero_effect_per_k=1e-6, span_effect_per_k=1e-5) for c in AS_MADE.cells),
    wiring=(Wiring(2.0), *(Wiring(2.0, sensed=False) for _ in AS_MADE.wiring[1:])),
)
WEATHER = ask.StartFault("weather", "temperature-swing", 0, {"amplitude_k": 5.0, "period_us": 3600 * S})
NETWORK = (Delay(60_000, 60_000),)
# Where the default shows only after hours, or only on other equipment: what shows within seconds here.
SHOWN: dict[str, dict[str, Value]] = {"damp-nights": {"period_us": 60 * S}}
LOADS: tuple[tuple[float, ask.Command], ...] = (
    (0.0, WEATHER),
    (4.0, ask.Place("block", 18_440.0, 4.0, 1.5)),
    (9.0, ask.Move("block", 6.0, 1.0)),
    (11.0, ask.Move("block", 4.0, 1.5)),
)
EVERY = pytest.mark.parametrize("entry", catalogue().values(), ids=catalogue())


def _target(entry: Entry) -> int:
    """The cell or node; a corroded EXC+ shows on four conductors only, for six it is measured out."""
    if entry.stage in WHOLE:
        return 0
    return 2 if entry.name == "corroded-terminal" else 1


def start(entry: Entry, key: str = "it", grows_us: int = 0) -> ask.StartFault:
    return ask.StartFault(key, entry.name, _target(entry), SHOWN.get(entry.name, {}), grows_us)


def run(*faults: tuple[float, ask.Command], until_s: float = LOOK_S) -> Bench:
    items = sorted([*LOADS, *faults], key=lambda item: item[0])
    bench = Bench(plan(*items, cells=8, parts=HEALTHY, up=NETWORK), load_profile("r76-iii"), 3)
    bench.run(round(until_s * S))
    return bench


@functools.cache
def healthy() -> Bench:
    return run()


def seen(bench: Bench, from_s: float, to_s: float) -> tuple[Any, ...]:
    """All that a host knows of a stretch of a run."""
    columns = bench.trace.columns()
    rows = (columns.t_us >= from_s * S) & (columns.t_us < to_s * S)
    states = [(t, s.step, s.reason) for t, s in bench.trace.link_states if from_s * S <= t < to_s * S]
    cells = np.round(columns.cells_kg[rows], 6)
    flags = [str(bench.trace.indication_at(t)) for t in columns.t_us[rows].tolist()]
    return flags, np.nan_to_num(cells, nan=-1e9).tolist(), states


@EVERY
def test_a_fault_is_seen_while_it_lasts_and_leaves_no_trace(entry: Entry) -> None:
    bench = run((BEGINS_S, start(entry)), (ENDS_S, ask.EndFault("it")))
    assert seen(bench, 0.0, BEGINS_S) == seen(healthy(), 0.0, BEGINS_S)
    assert seen(bench, BEGINS_S, ENDS_S) != seen(healthy(), BEGINS_S, ENDS_S)
    last, good = bench.indication, healthy().indication
    assert (last.valid, last.reason, last.tare_d, last.motion) == (True, "", 0, False)
    assert last.gross_d == pytest.approx(good.gross_d, abs=1)
    assert [s.step for s in bench.link_states] == ["flow", "flow"]
    assert bench.faults == ("weather",)
