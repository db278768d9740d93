"""Faults of the host on a running bench: at any pace the same, and none of ours in somebody else's host."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.foreign import NO_HOST
from benchsim.bench.plan import Foreign
from benchsim.ground import commands as ask
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan

S = 1_000_000
LOADS: tuple[tuple[float, ask.Command], ...] = (
    (3.0, ask.Place("block", 18_440.0, 4.0, 1.5)),
    (9.0, ask.Remove("block")),
)


def begun(*timeline: tuple[float, ask.Command], foreign: Foreign = Foreign.NOBODY) -> Bench:
    items = sorted([*LOADS, *timeline], key=lambda item: item[0])
    return Bench(replace(plan(*items, cells=8), foreign=foreign), load_profile("r76-iii"), 1)


def ran(*timeline: tuple[float, ask.Command], seconds: float = 14.0) -> Bench:
    bench = begun(*timeline)
    bench.run(round(seconds * S))
    return bench


@pytest.mark.parametrize(
    "name",
    ["held-weight", "exchanged-cells", "slow-averaging", "wrong-interval", "broken-seal", "wrong-network"],
)
def test_the_pace_of_the_walk_does_not_show(name: str) -> None:
    timeline = ((6.03, ask.StartFault("it", name)), (11.07, ask.EndFault("it")))
    at_once, slowly = ran(*timeline), begun(*timeline)
    for n in range(1, 401):
        slowly.run(n * 35_000)
    one, other = at_once.trace.columns(), slowly.trace.columns()
    assert np.array_equal(one.gross_d, other.gross_d)
    assert np.array_equal(one.flags, other.flags)
    assert np.array_equal(one.cells_kg, other.cells_kg, equal_nan=True)
    assert at_once.trace.link_states == slowly.trace.link_states


def test_a_held_weight_looks_new_stays_valid_and_is_let_through_to_a_record() -> None:
    """That is what is dangerous about it: nothing but the load itself tells."""
    bench = ran((6.0, ask.StartFault("it", "held-weight")), (12.0, ask.Record()), seconds=12.5)
    now = bench.indication
    assert (now.valid, now.motion, now.gross_d, now.t_us) == (True, False, 922, 12_500_000)
    assert bench.true_kg() == 0.0
    [record] = [e for e in bench.trace.events if e.subject == "record"]
    assert record.done


def test_what_a_host_was_told_of_its_scale_outlives_a_fault_of_its_card() -> None:
    told = ask.Expect(8, ((1, 4), (2, 4)))
    bench = ran(
        (4.0, told),
        (4.5, ask.Pair()),
        (6.0, ask.StartFault("it", "wrong-network")),
        (8.0, ask.EndFault("it")),
    )
    assert bench.indication.valid
    assert [s.step for s in bench.link_states] == ["flow", "flow"]


def test_a_sealed_fingerprint_that_fits_no_more_keeps_the_node_away_in_words() -> None:
    bench = ran((6.0, ask.StartFault("it", "broken-seal", 0, {"address": 2})))
    states = {s.address: (s.step, s.reason) for s in bench.link_states}
    assert states == {1: ("flow", ""), 2: ("failed", "calibration fingerprint changed")}


def test_a_wrong_coefficient_weighs_one_cell_by_so_much_more() -> None:
    bench = ran((6.0, ask.StartFault("it", "wrong-coefficient", 0, {"cell": 3, "error": 0.1})), seconds=8.5)
    sound = ran(seconds=8.5)
    before, after = sound.trace.columns().cells_kg[-1], bench.trace.columns().cells_kg[-1]
    assert after[2] == pytest.approx(1.1 * before[2], rel=1e-6)
    assert np.delete(after, 2) == pytest.approx(np.delete(before, 2), abs=1e-6)


def test_no_fault_of_ours_befalls_a_host_that_is_somebody_else_s() -> None:
    bench = begun(foreign=Foreign.HOST)
    outcome = bench.do(ask.StartFault("it", "held-weight"))
    assert (outcome.done, outcome.reason) == (False, NO_HOST)
    assert bench.faults == ()
