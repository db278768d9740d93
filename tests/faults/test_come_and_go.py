"""Every fault of the catalogue on a running bench: something is seen while it lasts, and nothing afterwards.

Alone and two at a time, at once and growing.  The whole scale runs, so what is compared is what a host knows:
indications, each cell's weight, and the links.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from benchsim.bench.active import WHOLE, ActiveFaults
from benchsim.bench.bench import Bench
from benchsim.faults.fault import Entry, Value, catalogue
from benchsim.ground import commands as ask
from benchsim.ground.errors import BadInput
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
SHOWN: dict[str, dict[str, Value]] = {
    "damp-nights": {"period_us": 60 * S},
    "flat-battery": {"over_us": 4 * S},
}
LOADS: tuple[tuple[float, ask.Command], ...] = (
    (0.0, WEATHER),
    (4.0, ask.Place("block", 18_440.0, 4.0, 1.5)),
    (9.0, ask.Move("block", 6.0, 1.0)),
    (11.0, ask.Move("block", 4.0, 1.5)),
    (14.0, ask.Pair()),  # somebody asks for it once more, where the fault kept nodes away
)
EVERY = pytest.mark.parametrize("entry", catalogue().values(), ids=catalogue())


def _target(entry: Entry) -> int:
    """The cell or node; a corroded EXC+ shows on four conductors only, for six it is measured out."""
    if entry.stage in WHOLE:
        return 0
    return 2 if entry.name == "corroded-terminal" else 1


def start(entry: Entry, key: str = "it", grows_us: int = 0) -> ask.StartFault:
    return ask.StartFault(key, entry.name, _target(entry), SHOWN.get(entry.name, {}), grows_us)


@dataclass(frozen=True)
class Ran:
    """A bench at its end, and each frame of the link: when it set out, and how often it arrived."""

    bench: Bench
    frames: list[tuple[int, int]]


def run(*faults: tuple[float, ask.Command], until_s: float = LOOK_S) -> Ran:
    items = sorted([*LOADS, *faults], key=lambda item: item[0])
    bench = Bench(plan(*items, cells=8, parts=HEALTHY, up=NETWORK), load_profile("r76-iii"), 3)
    frames: list[tuple[int, int]] = []
    bench.tap(lambda carried: frames.append((carried[1], len(carried[3]))))
    bench.run(round(until_s * S))
    return Ran(bench, frames)


@functools.cache
def healthy() -> Ran:
    return run()


def seen(ran: Ran, from_s: float, to_s: float) -> tuple[Any, ...]:
    """All that a host and whoever listens on the link know of a stretch of a run."""
    bench = ran.bench
    columns = bench.trace.columns()
    rows = (columns.t_us >= from_s * S) & (columns.t_us < to_s * S)
    states = [(t, s.step, s.reason) for t, s in bench.trace.link_states if from_s * S <= t < to_s * S]
    frames = [frame for frame in ran.frames if from_s * S <= frame[0] < to_s * S]
    cells = np.round(columns.cells_kg[rows], 6)
    flags = [str(bench.trace.indication_at(t)) for t in columns.t_us[rows].tolist()]
    return flags, np.nan_to_num(cells, nan=-1e9).tolist(), states, frames


@EVERY
def test_a_fault_is_seen_while_it_lasts_and_leaves_no_trace(entry: Entry) -> None:
    ran = run((BEGINS_S, start(entry)), (ENDS_S, ask.EndFault("it")))
    bench = ran.bench
    assert seen(ran, 0.0, BEGINS_S) == seen(healthy(), 0.0, BEGINS_S)
    assert seen(ran, BEGINS_S, ENDS_S) != seen(healthy(), BEGINS_S, ENDS_S)
    last, good = bench.indication, healthy().bench.indication
    assert (last.valid, last.reason, last.tare_d, last.motion) == (True, "", 0, False)
    assert last.gross_d == pytest.approx(good.gross_d, abs=1)
    assert [s.step for s in bench.link_states] == ["flow", "flow"]
    assert bench.faults == ("weather",)


@functools.cache
def refusals() -> dict[str, str]:
    """What the bench says of each fault that is to grow and cannot."""
    said = {}
    for name, entry in catalogue().items():
        try:
            ActiveFaults(plan(cells=8, parts=HEALTHY)).with_fault(start(entry, grows_us=20 * S), 0)
        except BadInput as error:
            said[name] = str(error)
    return said


def test_what_is_there_or_not_cannot_grow_and_is_told_so() -> None:
    """Leads that are off, crossed pairs, addresses, power, and what holds nothing back."""
    sharp = {"open-terminal", "open-arm", "swapped-signal", "wrong-strap", "power-loss", "held-weight"}
    sharp |= {"loose-terminal"}  # off in some seconds only
    assert sharp <= set(refusals())
    assert len(refusals()) < len(catalogue()) / 2
    for name, said in refusals().items():
        assert said.startswith(f"{name}: ")
        assert said.endswith("; begin it at once, without growing")


@EVERY
def test_a_fault_grows_from_nothing_to_all_of_it(entry: Entry) -> None:
    if entry.name in refusals():
        return
    faults = ActiveFaults(plan(cells=8, parts=HEALTHY)).with_fault(start(entry, grows_us=20 * S), 0)
    whole = ActiveFaults(plan(cells=8, parts=HEALTHY)).with_fault(start(entry), 0)
    sound = ActiveFaults(plan(cells=8, parts=HEALTHY))

    def made(faults: ActiveFaults, t_us: int) -> tuple[Any, ...]:
        return faults.scale(t_us), faults.node(0, t_us), faults.link(0, t_us), faults.host(t_us)

    assert made(faults, 0) == made(sound, 0)
    assert made(faults, 20 * S) == made(whole, 20 * S) != made(sound, 20 * S)
    half = made(faults, 10 * S)
    assert half != made(sound, 10 * S)
    assert half != made(whole, 10 * S)


def test_growing_is_a_straight_line() -> None:
    entry = catalogue()["zero-shift"]
    faults = ActiveFaults(plan(cells=8, parts=HEALTHY)).with_fault(start(entry, grows_us=10 * S), 0)
    balance = [faults.scale(t * S).cells[0].zero_balance_mv_per_v for t in (0, 2, 5, 10, 99)]
    assert balance == pytest.approx([0.0, 0.2 * balance[3], 0.5 * balance[3], 0.02, 0.02])


PAIRS = list(itertools.combinations(catalogue().values(), 2))


@pytest.mark.parametrize("part", range(2))
def test_any_two_faults_go_together(part: int) -> None:
    """One pair in four, folded on one another in either order; what they make stays what can be."""
    made = plan(cells=8, parts=HEALTHY)
    for one, other in PAIRS[part::8]:
        for first, second in ((one, other), (other, one)):
            faults = (
                ActiveFaults(made).with_fault(start(first, "first"), 0).with_fault(start(second, "second"), S)
            )
            faults.try_out(2 * S)


SAMPLED = sorted(PAIRS, key=lambda p: hashlib.sha256(f"{p[0].name}+{p[1].name}".encode()).digest())[:10]


@pytest.mark.parametrize("pair", SAMPLED, ids=lambda p: f"{p[0].name}+{p[1].name}")
def test_two_faults_overlap_on_one_bench_and_leave_no_trace(pair: tuple[Entry, Entry]) -> None:
    ran = run(
        (7.0, start(pair[0], "first")), (9.0, start(pair[1], "second")),
        (11.0, ask.EndFault("first")), (13.0, ask.EndFault("second")),
    )  # fmt: skip
    bench = ran.bench
    assert bench.faults == ("weather",)
    assert bench.indication.valid
    assert bench.indication.gross_d == pytest.approx(healthy().bench.indication.gross_d, abs=1)
