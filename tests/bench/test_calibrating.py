"""A calibration on the bench: from cells to counts, faults that it tells, and the seal at both ends."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from benchsim.bench.bench import Bench
from benchsim.bench.calibrating import CalibrationBench, calibrated_plan, group_limit_kg, sealed_plan
from benchsim.bench.plan import Plan
from benchsim.ground.clock import SECOND_US
from benchsim.ground.commands import Place, StartFault, Zero
from benchsim.host.calibration import Calibration, begin
from benchsim.host.calibration_parts import Refusal, Settings
from benchsim.host.calibration_results import results_of
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import Cell
from tests.bench.plans import plan, scale_parts

R76 = load_profile("r76-iii")


def settings(own: Plan, **changed: object) -> Settings:
    seats = own.host.seats
    made = Settings(
        capacity_kg=own.host.capacity_kg,
        interval_kg=own.host.interval,
        profile=R76,
        groups=tuple((cell,) for cell in range(len(seats))),
        places=tuple((seat.address, seat.channel) for seat in seats),
        corner_kg=Decimal(3000),
        weights_kg=Decimal(60_000),
        sheet=tuple(seat.kg_per_count for seat in seats),
        repeats=0,
        piece_kg=Decimal(1000),
    )
    return replace(made, **changed)  # type: ignore[arg-type]


def by_itself(own: Plan, asked: Settings) -> tuple[Calibration, Refusal | None]:
    """Every step until one is refused."""
    scale, state = CalibrationBench(calibrated_plan(own), R76, seed=5), begin(asked)
    while state.task is not None:
        scale.carry_out(state)
        after = state.done(scale.read())
        if isinstance(after, Refusal):
            return state, after
        state = after
    return state, None


def exact(cells: int, sheet_off: dict[int, float] | None = None) -> Plan:
    """Straight cells without noise; some with another rated output than the host is told."""
    parts = scale_parts(cells, noise_rms_counts=0.0, creep=False)
    own = plan(cells=cells, parts=replace(parts, cells=(Cell(20_000.0),) * cells))
    off = sheet_off or {}
    cells_as_they_are = tuple(
        replace(c, rated_output_mv_per_v=2.0 * off.get(n, 1.0)) for n, c in enumerate(own.scale.cells)
    )
    return replace(own, scale=replace(own.scale, cells=cells_as_they_are))


def test_three_cells_on_a_noiseless_scale_come_back_exactly() -> None:
    """Three supports: statics leaves nothing open, and only the converter's steps of a count are left."""
    own = exact(3, {1: 1.01, 2: 0.995})
    asked = settings(own, sheet=None)
    state, refusal = by_itself(own, asked)
    assert refusal is None
    true = [seat.kg_per_count / off for seat, off in zip(own.host.seats, (1.0, 1.01, 0.995), strict=True)]
    assert results_of(state).kg_per_count == pytest.approx(true, rel=3e-6)


def test_five_cells_on_two_nodes_weigh_right_after_it_wherever_the_load_stands() -> None:
    """Off by up to 1 % before; after it within 0.1 d at places where nothing was calibrated."""
    own = exact(5, {0: 1.01, 3: 0.992})
    state, refusal = by_itself(own, settings(own))
    assert refusal is None
    sealed = sealed_plan(own, results_of(state).seal())
    for x_m, y_m in ((2.0, 0.5), (5.0, 1.0), (3.0, 2.0)):
        off = [reading_kg(p, x_m, y_m) - 10_000.0 for p in (own, sealed)]
        assert abs(off[1]) < 2.0
    assert max(abs(reading_kg(own, x_m, 0.3) - 10_000.0) for x_m in (1.0, 4.0)) > 20.0


def reading_kg(own: Plan, x_m: float, y_m: float) -> float:
    """What the host makes of 10 t there, in kg, before rounding to d."""
    bench = Bench(replace(own, host=replace(own.host, zero_tracking=False)), R76, 3)
    bench.run(6 * SECOND_US)
    bench.do(Zero())
    bench.do(Place("block", 10_000.0, x_m, y_m))
    bench.run(16 * SECOND_US)
    assert bench.indication.valid
    return bench.indication.tenths_gross_d * float(own.host.interval) / 10.0


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (StartFault("f", "swapped-signal", 2), "negative coefficient: the counts of cell 2 fall"),
        (StartFault("f", "dead-cell", 3), "cell 3 never took part of any load"),
    ],
)
def test_a_scale_that_is_not_right_is_refused_by_its_cell(fault: StartFault, words: str) -> None:
    own = plan((0.0, fault), cells=4)
    _, refusal = by_itself(own, settings(own))
    assert refusal is not None
    assert refusal.found.startswith(words)


def test_what_stands_on_the_deck_while_a_load_is_read_is_told_by_its_residual() -> None:
    own = plan(cells=4)
    scale, state = CalibrationBench(calibrated_plan(own), R76, seed=5), begin(settings(own))
    refusal = None
    while state.at < 6 and refusal is None:
        scale.carry_out(state)
        if state.at == 3:
            assert not scale.do(Place("crate", 90.0, 3.0, 1.0))
        after = state.done(scale.read())
        if isinstance(after, Refusal):
            refusal = after
        else:
            state = after
    assert refusal is not None
    assert refusal.found.startswith(("residual ", "the deck is not as empty"))


def test_loads_of_the_story_are_left_out_and_its_faults_stay() -> None:
    fault = StartFault("f", "span-drift", 1)
    own = plan((1.0, Place("block", 500.0, 3.0, 1.0)), (2.0, fault))
    assert [item.command for item in calibrated_plan(own).timeline] == [fault]


def test_the_load_over_one_place_is_limited_by_its_cells() -> None:
    """A platform on four cells of 20 t, 1.6 t of deck: 400 kg of it stand on each, by symmetry."""
    own = plan(cells=4)
    assert group_limit_kg(own, ((0,), (1,), (2,), (3,))) == 19_600
    assert group_limit_kg(own, ((0, 1), (2, 3))) == 39_200


def sealed() -> tuple[Plan, Plan]:
    """The plan of a scale, and the same calibrated and sealed."""
    own = exact(5)
    state, _ = by_itself(own, settings(own))
    return own, sealed_plan(own, results_of(state).seal())


def test_nodes_pair_with_the_host_that_their_calibration_was_sealed_for_and_with_no_other_figures() -> None:
    """nodelink: a node whose fingerprint is not the one sealed is *calibration fingerprint changed*."""
    _, right = sealed()
    bench = Bench(right, R76, 3)
    bench.run(4 * SECOND_US)
    assert [(s.address, s.step) for s in bench.link_states] == [(1, "flow"), (2, "flow")]
    card = right.nodes[1].card
    other = bytes([card.fingerprint[0] ^ 1]) + card.fingerprint[1:]
    nodes = (right.nodes[0], replace(right.nodes[1], card=replace(card, fingerprint=other)))
    bench = Bench(replace(right, nodes=nodes), R76, 3)
    bench.run(4 * SECOND_US)
    states = {s.address: s for s in bench.link_states}
    assert states[1].step == "flow"
    assert (states[2].step, states[2].reason) == ("failed", "calibration fingerprint changed")
    assert other.hex() in states[2].detail
    assert not bench.indication.valid
