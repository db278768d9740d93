"""What the catalogue says is seen is what a whole bench shows: one fault, eight cells, two nodes."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from benchsim.bench.bench import Bench
from benchsim.ground import commands as ask
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import ScaleParts
from tests.bench.plans import plan, scale_parts

S = 1_000_000
LOAD_KG = 18_400.0
LOAD = ask.Place("block", LOAD_KG, 4.0, 1.5)
LOAD_D = 920  # of 20 kg
BEGINS_S, LOOK_S = 10.0, 20.0
HEALTHY = scale_parts(8)


def bench_with(
    fault: str,
    target: int = 0,
    begins_s: float = BEGINS_S,
    parts: ScaleParts = HEALTHY,
    load: tuple[tuple[float, ask.Command], ...] = ((5.0, LOAD),),
    seconds: float = LOOK_S,
    **parameters: float | str,
) -> Bench:
    """A bench at rest under a load, with the fault from begins_s on."""
    start = ask.StartFault("it", fault, target, parameters)
    made = plan(*sorted([*load, (begins_s, start)], key=lambda item: item[0]), cells=8, parts=parts)
    bench = Bench(made, load_profile("r76-iii"), 3)
    bench.run(round(seconds * S))
    return bench


def gross_d(bench: Bench, at_s: float) -> int:
    """What the display shows at that time, which must be valid."""
    indication = bench.trace.indication_at(round(at_s * S))
    assert indication is not None
    assert indication.valid, indication.reason
    return indication.gross_d


def cells_kg(bench: Bench, at_s: float) -> list[float]:
    """What the host makes of each cell at that time."""
    columns = bench.trace.columns()
    row = int(np.searchsorted(columns.t_us, at_s * S, side="right")) - 1
    return [float(v) for v in columns.cells_kg[row]]


@pytest.mark.parametrize("name", ["swapped-signal", "swapped-excitation"])
def test_a_crossed_pair_takes_twice_the_cell_s_whole_signal_away(name: str) -> None:
    # Bridge circuit: the sign turns, dead load included (400 kg a cell here).
    share_kg = cells_kg(bench_with("noisy", factor=1.0), 9.0)[0]
    bench = bench_with(name, 1)
    assert cells_kg(bench, LOOK_S)[0] == pytest.approx(-share_kg - 2 * 400.0, abs=3.0)
    assert gross_d(bench, LOOK_S) == pytest.approx(LOAD_D - 2 * (share_kg + 400.0) / 20, abs=1)


def test_a_dead_cell_takes_its_share_away_and_stays_plausible() -> None:
    bench = bench_with("dead-cell", 1)
    assert cells_kg(bench, LOOK_S)[0] == pytest.approx(-400.0, abs=1.0)
    assert gross_d(bench, LOOK_S) < 0.8 * LOAD_D


def test_a_zero_shift_is_the_same_mass_loaded_and_empty() -> None:
    # 0.02 mV/V of 2 mV/V of 20 t: 200 kg, 10 d.
    bench = bench_with("zero-shift", 1, load=((5.0, LOAD), (15.0, ask.Remove("block"))), seconds=25.0)
    assert (gross_d(bench, 14.5), gross_d(bench, 25.0)) == (LOAD_D + 10, 10)


def test_a_span_drift_grows_with_the_load_and_leaves_the_empty_scale_nearly_alone() -> None:
    bench = bench_with(
        "span-drift", load=((5.0, LOAD), (15.0, ask.Remove("block"))), seconds=17.0, drift=0.01, over_us=0
    )
    # One percent of the load, and of the dead load of 3.2 t too, which the host took away as it was.
    assert gross_d(bench, 14.5) == pytest.approx(LOAD_D + 0.01 * (LOAD_KG + 3_200) / 20, abs=1)
    assert gross_d(bench, 17.0) == pytest.approx(0.01 * 3_200 / 20, abs=1)


def test_creep_out_of_class_shows_after_half_an_hour() -> None:
    bench = bench_with("creep-out-of-class", begins_s=1.0, fraction=0.005, seconds=1800.0)
    # The share comes late: short of it at once, nearly all of it after three time constants.
    assert gross_d(bench, 10.0) == pytest.approx(LOAD_D * 0.995, abs=1)
    assert gross_d(bench, 1800.0) == pytest.approx(LOAD_D * (1 - 0.005 * np.exp(-3.0)), abs=1)


def test_poor_repeatability_spreads_the_same_load_over_several_d() -> None:
    # 1 % of the load and of the dead load of 3.2 t, eight cells alike but each on its own: 1 % / sqrt(8).
    loads: list[tuple[float, ask.Command]] = []
    for n in range(12):
        loads += [(12.0 + 6 * n, LOAD), (15.0 + 6 * n, ask.Remove("block"))]
    bench = bench_with("poor-repeatability", load=tuple(loads), seconds=85.0, deviation=0.01)
    found = [gross_d(bench, 14.8 + 6 * n) for n in range(12)]
    spread_d = 0.01 / np.sqrt(8) * (LOAD_KG + 3_200) / 20
    # The deviation of twelve draws: between 0.5 and 1.6 of its own (chi-squared, 11 degrees, 0.1 % each way).
    assert 0.4 * spread_d < np.std(found, ddof=1) < 1.7 * spread_d


def test_a_weak_spring_stays_shifted_when_the_load_is_gone() -> None:
    # 18.4 t and 3.2 t on eight cells of 20 t: cell 1 bears its share; 20 % of what lies beyond 5 % stays.
    bench = bench_with(
        "weak-spring", 1, begins_s=2.0, load=((5.0, LOAD), (15.0, ask.Remove("block"))), seconds=25.0,
        bears=0.05, yields=0.2,
    )  # fmt: skip
    share_kg = cells_kg(bench_with("noisy", factor=1.0), 9.0)[0] + 400.0
    after = cells_kg(bench, 24.0)[0]
    # The deck overshoots by exp(-pi D), D = 0.08 of 78 % of the load's share: the peak is what counts.
    peak_kg = share_kg + (share_kg - 400.0) * np.exp(-np.pi * 0.08)
    assert 0.2 * (share_kg - 1_000.0) < after <= 0.2 * (peak_kg - 1_000.0) + 2.0


def test_a_cell_that_warms_slowly_lags_behind_its_site() -> None:
    warm = replace(HEALTHY, cells=tuple(replace(c, zero_effect_per_k=0.0) for c in HEALTHY.cells))
    parts = replace(warm, cells=(replace(warm.cells[0], zero_effect_per_k=1e-3), *warm.cells[1:]))
    quick = bench_with("temperature-swing", parts=parts, amplitude_k=20.0, period_us=60 * S, seconds=26.0)
    lag = replace(parts, cells=(replace(parts.cells[0], thermal_time_constant_s=60.0), *parts.cells[1:]))
    slow = bench_with("temperature-swing", parts=lag, amplitude_k=20.0, period_us=60 * S, seconds=26.0)
    # 20 K at 0.1 % of 20 t: 400 kg. The late cell follows 1 / (1 + tau s) of the sine, from rest.
    zero_kg = cells_kg(quick, 9.0)[0]
    assert cells_kg(quick, 25.5)[0] - zero_kg == pytest.approx(400.0, rel=0.02)
    w, t, tau = 2 * np.pi / 60.0, 15.0, 60.0
    late = (np.sin(w * t) - w * tau * np.cos(w * t) + w * tau * np.exp(-t / tau)) / (1 + (w * tau) ** 2)
    assert cells_kg(slow, 25.5)[0] - zero_kg == pytest.approx(400.0 * late, abs=8.0)


def test_hysteresis_out_of_class_parts_the_way_up_from_the_way_down() -> None:
    half = ask.Place("half", 40_000.0, 5.0, 1.5)
    more = ask.Place("more", 40_000.0, 5.0, 1.5)
    way = ((3.0, half), (10.0, more), (20.0, ask.Remove("more")))
    parts = replace(HEALTHY, cells=tuple(replace(c, hysteresis=0.0, creep=()) for c in HEALTHY.cells))
    made = bench_with("hysteresis-out-of-class", begins_s=0.1, parts=parts, load=way, seconds=30.0, more=0.01)
    columns = made.trace.columns()
    up, down = (columns.cells_kg[np.searchsorted(columns.t_us, t * S)].sum() for t in (9.0, 29.0))
    assert down - up > 20.0


def test_an_open_signal_terminal_is_told_by_the_node() -> None:
    indication = bench_with("open-terminal", 1, terminal="SIG-").indication
    assert not indication.valid
    assert "cell 1" in indication.reason


def test_an_open_excitation_terminal_with_four_conductors_is_a_plausible_zero() -> None:
    four = replace(HEALTHY, wiring=tuple(replace(w, sensed=False) for w in HEALTHY.wiring))
    bench = bench_with("open-terminal", 1, parts=four, terminal="EXC+")
    assert bench.indication.valid
    assert cells_kg(bench, LOOK_S)[0] == pytest.approx(-400.0, abs=1.0)


def test_a_lost_sense_lead_is_told_by_the_node() -> None:
    indication = bench_with("lost-sense", 1).indication
    assert not indication.valid
    assert "excitation or its sense" in indication.reason


def test_shorted_signal_terminals_are_a_plausible_dead_cell() -> None:
    bench = bench_with("shorted-terminals", 1, resistance_ohm=0.0)
    assert bench.indication.valid
    assert cells_kg(bench, LOOK_S)[0] == pytest.approx(-400.0, abs=1.0)


@pytest.mark.parametrize("pair", ["EXC+/SIG+", "EXC-/SIG+", "EXC+/EXC-", "SIG-/SEN-"])
def test_a_short_from_signal_to_supply_or_across_the_supply_is_told_by_the_node(pair: str) -> None:
    indication = bench_with("shorted-terminals", 1, pair=pair).indication
    assert not indication.valid
    assert "cell 1" in indication.reason


def test_a_loose_terminal_takes_the_weight_away_for_seconds() -> None:
    bench = bench_with("loose-terminal", 1, gone=0.4, seconds=60.0)
    found = [i for t in range(11, 60) if (i := bench.trace.indication_at(t * S)) is not None]
    assert {i.valid for i in found} == {True, False}
    assert {i.gross_d for i in found if i.valid and not i.motion} == {LOAD_D}


def test_a_corroded_terminal_costs_four_conductors_their_span_and_six_nothing() -> None:
    # R_in / (R_in + 7.7) of the cell's 385 ohm: 1.96 % of its load, its dead load of 400 kg too.
    four = replace(HEALTHY, wiring=tuple(replace(w, sensed=False) for w in HEALTHY.wiring))
    bench = bench_with("corroded-terminal", 1, parts=four, resistance_ohm=7.7, over_us=0)
    before, after = cells_kg(bench, 9.0)[0], cells_kg(bench, LOOK_S)[0]
    assert after + 400.0 == pytest.approx((before + 400.0) * 385.0 / 392.7, rel=2e-4)
    assert gross_d(bench_with("corroded-terminal", 1, resistance_ohm=7.7, over_us=0), LOOK_S) == LOAD_D


def test_an_open_arm_puts_the_reading_at_its_stop() -> None:
    indication = bench_with("open-arm", 1).indication
    assert not indication.valid
    assert "cell 1" in indication.reason


def test_a_drifting_arm_moves_zero_by_a_quarter_of_its_drift() -> None:
    # Quarter bridge: x / 4 = 0.05 mV/V of 2 mV/V of 20 t is 500 kg; the input is 385 ohm, the bridge 350.
    bench = bench_with("drifting-arm", 1, drift=-0.0002, over_us=0)
    before, after = cells_kg(bench, 9.0)[0], cells_kg(bench, LOOK_S)[0]
    assert after - before == pytest.approx(500.0 * 350.0 / 385.0, rel=1e-3)


def test_a_wet_connector_moves_zero_by_what_the_divider_takes() -> None:
    # Closed form: SIG+ stands at half the excitation behind half the cell's output resistance Rs, so a leak
    # R to EXC- shifts it by -1/2 Rs / (Rs + R) of the excitation (Thevenin).
    cell = HEALTHY.cells[0]
    source_ohm = cell.output_resistance_ohm / 2
    shift_mv_per_v = -1000 * 0.5 * source_ohm / (source_ohm + 2e6)
    shift_kg = shift_mv_per_v / cell.rated_output_mv_per_v * cell.e_max_kg
    bench = bench_with("wet-connector", 1, soaking_us=0, resistance_ohm=2e6)
    before, after = cells_kg(bench, 9.0)[0], cells_kg(bench, LOOK_S)[0]
    assert after - before == pytest.approx(shift_kg, rel=0.05)
    assert gross_d(bench, LOOK_S) == pytest.approx(LOAD_D + shift_kg / 20, abs=1)


def test_mud_weighs_what_it_weighs() -> None:
    assert gross_d(bench_with("mud", mass_kg=400.0, over_us=0), LOOK_S) == LOAD_D + 20


def test_mud_that_gathers_is_folded_again_each_second() -> None:
    bench = bench_with("mud", mass_kg=400.0, over_us=10 * S, seconds=25.0)
    assert [gross_d(bench, t) for t in (9.0, 16.0, 25.0)] == [
        LOAD_D,
        pytest.approx(LOAD_D + 11, abs=2),
        LOAD_D + 20,
    ]


def test_a_low_support_leaves_the_sum_and_unloads_its_cell() -> None:
    bench = bench_with("low-support", support=3, lost=0.5)
    assert gross_d(bench, LOOK_S) == LOAD_D
    before, after = cells_kg(bench, 9.0), cells_kg(bench, LOOK_S)
    assert after[2] < 0.8 * before[2]
    assert sum(after) == pytest.approx(sum(before), abs=1.0)


def test_zero_follows_the_temperature_by_the_cells_own_coefficient() -> None:
    # 20 K at 0.01 % of rated output per K over eight cells of 20 t: 8 x 40 kg.
    warm = replace(HEALTHY, cells=tuple(replace(c, zero_effect_per_k=1e-4) for c in HEALTHY.cells))
    bench = bench_with("temperature-swing", parts=warm, amplitude_k=20.0, period_us=60 * S, seconds=41.0)
    assert gross_d(bench, 25.5) == pytest.approx(LOAD_D + 16, abs=1)
    assert gross_d(bench, 40.5) == pytest.approx(LOAD_D, abs=2)


@pytest.mark.parametrize("name", ["power-loss", "outage"])
def test_a_node_that_falls_silent_makes_the_weight_invalid_and_is_named(name: str) -> None:
    indication = bench_with(name, 2).indication
    assert not indication.valid
    assert "node 2" in indication.reason


def test_a_wrong_strap_leaves_its_address_empty() -> None:
    states = bench_with("wrong-strap", 1, begins_s=0.0, strap=9).link_states
    assert [(s.step, s.reason) for s in states] == [("failed", "nobody there"), ("flow", "")]


def test_a_strap_on_an_address_in_use_puts_two_nodes_on_it() -> None:
    state = bench_with("wrong-strap", 1, begins_s=0.0, strap=2).link_states[1]
    assert (state.step, state.reason) == ("failed", "two nodes on one address")
    assert len(set(re.findall(r"\b[0-9a-f]{16}\b", state.detail))) == 2


def test_a_stuck_code_moves_in_steps() -> None:
    small = tuple((11.0 + n, ask.Place(f"weight {n}", 10.0, 4.0, 1.5)) for n in range(12))
    bench = bench_with("stuck-code", 1, load=((5.0, LOAD), *small), seconds=24.0)
    seen = {cells_kg(bench, 11.8 + n)[0] for n in range(12)}
    step_kg = 2**14 / (2.0 / 20_000 * HEALTHY.stations[0].digitiser.counts_per_mv_per_v)
    assert len(seen) <= 2
    assert all(abs(k / step_kg - round(k / step_kg)) < 0.05 for k in (a - b for a in seen for b in seen))


def test_a_reference_that_is_wrong_makes_all_cells_of_its_node_wrong_alike() -> None:
    bench = bench_with("reference-drift", 1, drift=0.01, over_us=0)
    before, after = cells_kg(bench, 9.0), cells_kg(bench, LOOK_S)
    ratios = [(a + 400.0) / (b + 400.0) for a, b in zip(after, before, strict=True)]
    assert ratios[:4] == pytest.approx([ratios[0]] * 4, rel=1e-4)
    assert abs(ratios[0] - 1.0) == pytest.approx(0.01, rel=0.02)
    assert ratios[4:] == pytest.approx([1.0] * 4, rel=1e-3)


def test_mains_on_the_leads_moves_the_counts_by_its_amplitude() -> None:
    # 0.05 mV/V of 2 mV/V of 20 t is 500 kg. 47 Hz sampled at 80 Hz is 33 Hz, of which the mean of 32 samples
    # leaves |sin(32 a) / (32 sin a)|, a = pi 33/80: 1.9 %. At 50 Hz it would leave nothing.
    bench = bench_with("mains-pickup", 1, amplitude_mv_per_v=0.05, frequency_hz=47.0)
    columns = bench.trace.columns()
    swing_kg = np.ptp(columns.cells_kg[columns.t_us > 12 * S], axis=0)
    left = abs(np.sin(32 * np.pi * 33 / 80) / (32 * np.sin(np.pi * 33 / 80)))
    assert swing_kg[:4] == pytest.approx([2 * 500.0 * left] * 4, rel=0.1)
    assert swing_kg[4:].max() < 1.0
    later = [i for t in range(12, 20) if (i := bench.trace.indication_at(t * S)) is not None]
    assert all(i.motion for i in later)


def test_a_node_whose_clock_is_wrong_is_not_seen_while_the_load_rests() -> None:
    assert gross_d(bench_with("clock-error", 1, error_ppm=500.0), LOOK_S) == LOAD_D


def test_a_noisy_node_keeps_motion_on() -> None:
    bench = bench_with("noisy", begins_s=10.0, seconds=30.0)
    later = [i for t in range(12, 30) if (i := bench.trace.indication_at(t * S)) is not None]
    assert sum(i.motion for i in later) > len(later) / 2


def test_fading_takes_the_weight_away_for_moments() -> None:
    bench = bench_with("fading", 1, begin=0.02, end=0.02, loss=1.0, seconds=60.0)
    valid = [i.valid for t in range(11, 60) if (i := bench.trace.indication_at(t * S)) is not None]
    assert True in valid
    assert False in valid


def test_interference_costs_resends_and_not_the_weight() -> None:
    assert gross_d(bench_with("interference", 1, loss=0.1), LOOK_S) == LOAD_D


def test_congestion_beyond_the_host_s_patience_loses_the_node() -> None:
    assert gross_d(bench_with("congestion", 1), LOOK_S) == LOAD_D
    indication = bench_with("congestion", 1, delay_us=3 * S).indication
    assert not indication.valid
    assert "node 1" in indication.reason
