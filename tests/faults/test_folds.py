"""What single faults do to their part, against limits and relations from outside."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from benchsim.faults.fault import HOUR_US, entry_of
from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.host.indication import rounded
from benchsim.link.channel import Channel
from benchsim.scale.validate import check_digitiser
from tests.faults.healthy import CELL, HEALTHY, NODE, RECEPTOR


def fold(name: str, part: Any = None, age_us: int = 0, **parameters: Any) -> Any:
    entry = entry_of(name)
    return entry.make(parameters).fold(HEALTHY[entry.stage] if part is None else part, age_us)


def test_a_cell_that_creeps_out_of_class_breaks_the_limit_of_class_c_3000() -> None:
    # OIML R 60-1 5.5.1: within 30 min at most 0.7 MPE with p_LC 0.7, 0.735 v from 2000 v on; v = E_max/3000.
    limit = 0.7 * 0.7 * 1.5 / 3000
    assert limit == pytest.approx(0.000245)
    (fraction, tau_s) = fold("creep-out-of-class").creep[-1]
    assert fraction * (1.0 - math.exp(-1800.0 / tau_s)) > 2 * limit


def test_a_cell_with_hysteresis_out_of_class_breaks_the_limit_of_class_c_3000() -> None:
    # OIML R 60-1 5.3.2: p_LC x 1.5 v above 2000 v, p_LC = 0.7, hysteresis included; v = E_max/3000.
    assert fold("hysteresis-out-of-class").hysteresis > 2 * 0.7 * 1.5 / 3000


def test_a_dead_cell_gives_no_signal_at_all() -> None:
    dead = fold("dead-cell")
    assert (dead.rated_output_mv_per_v, dead.zero_balance_mv_per_v) == (0.0, 0.0)


def test_crossing_a_pair_twice_makes_it_right() -> None:
    for name in ("swapped-signal", "swapped-excitation", "swapped-sense"):
        once = fold(name)
        assert once.swapped
        assert fold(name, once) == HEALTHY["wiring"]


def test_a_connector_soaks_up_conductance_in_a_straight_line() -> None:
    def siemens(age_us: int) -> float:
        leaks = fold("wet-connector", age_us=age_us, resistance_ohm=1e6, soaking_us=HOUR_US).leaks
        return math.fsum(1.0 / ohm for _, ohm in leaks)

    assert siemens(0) == 0.0
    assert siemens(HOUR_US // 4) == pytest.approx(0.25e-6)
    assert siemens(HOUR_US) == siemens(9 * HOUR_US) == pytest.approx(1e-6)


def test_a_damp_night_comes_back_each_period_and_is_gone_by_day() -> None:
    def siemens(hour: float) -> float:
        leaks = fold("damp-nights", age_us=round(hour * HOUR_US), resistance_ohm=1e6).leaks
        return math.fsum(1.0 / ohm for _, ohm in leaks)

    # A squared sine: all of it in the middle of the period, half of it a quarter before and after.
    assert [siemens(h) for h in (6, 12, 18)] == pytest.approx([0.5e-6, 1e-6, 0.5e-6], rel=1e-9)
    assert [siemens(h) for h in (0, 24, 48)] == [0.0] * 3
    assert siemens(30) == pytest.approx(siemens(6))


def test_sense_leads_that_are_not_there_cannot_be_lost() -> None:
    four_wire = replace(HEALTHY["wiring"], sensed=False)
    assert fold("lost-sense", four_wire) == four_wire
    assert fold("lost-sense").open == ("SEN+", "SEN-")


def test_a_loose_terminal_is_open_in_the_share_of_seconds_it_names() -> None:
    # Independent seconds: the count is binomial; four standard deviations are allowed.
    for gone in (0.1, 0.5):
        spells = [fold("loose-terminal", age_us=n * 1_000_000, gone=gone).open for n in range(4000)]
        share = sum(opened == ("SIG+",) for opened in spells) / len(spells)
        assert share == pytest.approx(gone, abs=4 * math.sqrt(gone * (1 - gone) / 4000))


def test_another_pattern_of_a_loose_terminal_is_other_seconds() -> None:
    first, second = (
        [bool(fold("loose-terminal", age_us=n * 1_000_000, pattern=p).open) for n in range(200)]
        for p in (1, 2)
    )
    alike = sum(a == b for a, b in zip(first, second, strict=True)) / 200
    assert alike == pytest.approx(0.3**2 + 0.7**2, abs=4 * math.sqrt(0.58 * 0.42 / 200))


def test_a_loose_contact_that_is_there_has_up_to_its_resistance_evenly() -> None:
    # Uniform numbers: mean a half and deviation 1 / sqrt(12), four standard errors allowed.
    def ohms(pattern: int) -> list[float]:
        folds = (fold("loose-terminal", age_us=n * 1_000_000, gone=0.0, pattern=pattern) for n in range(1000))
        return [ohm for part in folds for _, ohm in part.contacts]

    first = ohms(1)
    assert sum(first) / 1000 == pytest.approx(2.5, abs=4 * 5.0 / math.sqrt(12 * 1000))
    assert 0.0 <= min(first) < 0.1 < 4.9 < max(first) < 5.0
    assert not set(first) & set(ohms(2))


def test_a_short_can_lie_between_any_two_of_the_six_terminals() -> None:
    (pair,) = (p for p in entry_of("shorted-terminals").parameters if p.name == "pair")
    assert len(pair.words) == len({frozenset(w.split("/")) for w in pair.words}) == math.comb(6, 2)


def test_a_low_support_is_the_one_that_was_named() -> None:
    low = fold("low-support", support=3, lost=0.25)
    stiff = [s.stiffness_n_per_m for s in low.supports]
    healthy = RECEPTOR.supports[0].stiffness_n_per_m
    assert stiff == [healthy, healthy, 0.75 * healthy, healthy, healthy, healthy]
    with pytest.raises(BadInput, match="this receptor has 6 supports"):
        fold("low-support", support=7)


def test_the_temperature_swings_about_where_it_was() -> None:
    quarter = 6 * HOUR_US
    swing = [fold("temperature-swing", age_us=n * quarter, amplitude_k=10.0).temperature_c for n in range(5)]
    assert swing == pytest.approx([20.0, 30.0, 20.0, 10.0, 20.0])


def test_a_node_with_another_strap_is_the_same_node_at_another_address() -> None:
    moved = fold("wrong-strap", strap=5)
    assert moved == replace(NODE, card=replace(NODE.card, strap=5))


def test_noise_grows_in_the_form_in_which_it_was_given() -> None:
    as_counts = fold("noisy", factor=10.0).digitiser
    assert (as_counts.noise_rms_counts, as_counts.noise_density_v_per_rthz) == (120.0, 0.0)
    density = replace(NODE.digitiser, noise_rms_counts=0.0, noise_density_v_per_rthz=1e-8)
    as_density = fold("noisy", replace(NODE, digitiser=density), factor=10.0).digitiser
    assert (as_density.noise_rms_counts, as_density.noise_density_v_per_rthz) == (0.0, pytest.approx(1e-7))
    silent = replace(NODE, digitiser=replace(NODE.digitiser, noise_rms_counts=0.0))
    assert fold("noisy", silent, least_counts=50.0).digitiser.noise_rms_counts == 50.0


def test_noise_upon_noise_ends_where_a_converter_ends() -> None:
    part = NODE
    for _ in range(4):
        part = fold("noisy", part, factor=1e5)
    assert part.digitiser.noise_rms_counts == 1e9
    check_digitiser(part.digitiser, "station 1")


def test_no_more_bits_stand_still_than_the_converter_has() -> None:
    small = replace(NODE, digitiser=replace(NODE.digitiser, bits=12))
    assert fold("stuck-code", small, bits=20).digitiser.stuck_bits == 11


def test_slow_warming_adds_its_lag_and_its_effect_to_the_cell_s_own() -> None:
    own = replace(CELL, thermal_time_constant_s=600.0)
    slow = fold("slow-warming", own, time_constant_us=HOUR_US, zero_effect_per_k=3e-5)
    assert slow.thermal_time_constant_s == 4_200.0
    assert slow.zero_effect_per_k == pytest.approx(CELL.zero_effect_per_k + 3e-5)


def test_two_drifts_add_up() -> None:
    slow = fold("span-drift", CELL, HOUR_US, drift=0.01, over_us=2 * HOUR_US)
    both = fold("span-drift", slow, HOUR_US, drift=0.01, over_us=0)
    assert both.rated_output_mv_per_v == pytest.approx(2.0 * 1.005 * 1.01)


@pytest.mark.parametrize(("direction", "up", "down"), [("both", 1, 1), ("up", 1, 0), ("down", 0, 1)])
@pytest.mark.parametrize("name", ["outage", "interference", "fading", "congestion"])
def test_a_link_fault_acts_the_way_it_was_told(name: str, direction: str, up: int, down: int) -> None:
    part = fold(name, direction=direction)
    assert (len(part.up), len(part.down)) == (up, down)


def lost_share(name: str, frames: int = 40_000, **parameters: Any) -> float:
    """The share of frames, one each 100 ms, that a link fault takes on the way up."""
    channel = Channel(fold(name, **parameters).up, Streams(5))
    arrived = sum(len(channel.carry(b"frame", n * 100_000)) for n in range(frames))
    return 1.0 - arrived / frames


def test_interference_takes_the_share_it_names() -> None:
    # Independent losses: the count is binomial; four standard deviations are allowed.
    assert lost_share("interference", loss=0.2) == pytest.approx(0.2, abs=4 * math.sqrt(0.2 * 0.8 / 40_000))


def test_fading_takes_the_share_of_a_two_state_channel() -> None:
    # Gilbert (1960), Elliott (1963): the bad state's long-run share is p / (p + r).
    assert lost_share("fading", begin=0.02, end=0.1, loss=0.95) == pytest.approx(0.95 * 0.02 / 0.12, rel=0.1)


def test_nothing_passes_during_an_outage() -> None:
    assert lost_share("outage", frames=500) == 1.0


def test_congestion_makes_frames_late_and_loses_none() -> None:
    channel = Channel(fold("congestion", delay_us=150_000, jitter_us=200_000).up, Streams(5))
    late_us = [t - n * 1_000_000 for n in range(2000) for t, _ in channel.carry(b"frame", n * 1_000_000)]
    assert len(late_us) == 2000
    assert min(late_us) >= 150_000
    assert max(late_us) <= 350_000
    assert sum(late_us) / 2000 == pytest.approx(250_000, abs=4 * 200_000 / math.sqrt(12 * 2000))


def test_a_line_with_noise_turns_the_share_of_bits_it_names() -> None:
    # Independent bits: the count is binomial; four standard deviations are allowed.
    channel, frames, octets = Channel(fold("line-noise", rate=1e-3).up, Streams(5)), 2000, 100
    wrong = 0
    for n in range(frames):
        for _, frame in channel.carry(bytes(octets), n * 100_000):
            wrong += int.from_bytes(frame, "big").bit_count()
    bits = frames * octets * 8
    assert wrong == pytest.approx(bits * 1e-3, abs=4 * math.sqrt(bits * 1e-3))


def test_a_thin_line_takes_eight_bits_an_octet_at_its_rate() -> None:
    channel = Channel(fold("thin-line", bits_per_s=9_600).up, Streams(5))
    [(arrived_us, _)] = channel.carry(bytes(120), 1_000_000)
    assert arrived_us - 1_000_000 == pytest.approx(120 * 8 / 9_600 * 1e6, abs=1)


@pytest.mark.parametrize(("name", "more"), [("repeating-bridge", 0.3), ("old-frames", 0.2)])
def test_what_comes_twice_comes_in_the_share_it_names(name: str, more: float) -> None:
    channel = Channel(fold(name).up, Streams(5))
    arrived = sum(len(channel.carry(n.to_bytes(4, "big"), n * 100_000)) for n in range(10_000))
    assert arrived / 10_000 == pytest.approx(
        1.0 + more, abs=4 * math.sqrt(more * (1 - more) / 10_000) + 0.002
    )


def test_a_route_that_is_overtaken_holds_back_the_share_it_names() -> None:
    channel = Channel(fold("overtaking-route").up, Streams(5))
    late = sum(t > n * 100_000 for n in range(10_000) for t, _ in channel.carry(b"frame", n * 100_000))
    assert late / 10_000 == pytest.approx(0.2, abs=4 * math.sqrt(0.2 * 0.8 / 10_000))


@pytest.mark.parametrize("times", [2, 5, 10])
def test_a_host_with_a_wide_interval_rounds_to_the_nearest_of_its_steps(times: int) -> None:
    """R 76-1 A.4.4.3 with d taken as so many d: the nearest step, up from the middle; by exact fractions."""
    assert fold("wrong-interval", times=times).settings.step_d == times
    for parts in range(-30_000_000, 30_000_000, 499_999):
        expected = math.floor(Fraction(parts, times * 1_000_000) + Fraction(1, 2)) * times
        assert rounded(parts, times) == expected


def test_exchanging_two_cells_twice_makes_it_right() -> None:
    once = fold("exchanged-cells", first=2, second=7)
    assert [(s.address, s.channel) for s in once.settings.seats][1] == (2, 2)
    assert fold("exchanged-cells", once, first=2, second=7) == HEALTHY["host"]
    with pytest.raises(BadInput, match="two cells"):
        fold("exchanged-cells", first=3, second=3)


def test_an_old_zero_is_off_by_the_mass_it_names() -> None:
    before, after = (
        HEALTHY["host"].settings.seats[3],
        fold("old-zero", cell=4, shift_kg=120.0).settings.seats[3],
    )
    assert (before.zero_counts - after.zero_counts) * after.kg_per_count == pytest.approx(120.0)
