"""Radios: every term of the budget, sensitivity and noise figure, refusals, and what becomes of frames."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice, Streams
from benchsim.link.channel import Channel
from benchsim.link.figures import Flow, Way, data_octets, figures
from benchsim.link.impairments.rate import Rate
from benchsim.link.radio import (
    MODULATIONS,
    Budget,
    Radio,
    bit_error,
    budget_of,
    needed_sinr_db,
    rate_of,
    shadowing,
    stack_of,
)
from tests.link.site import flowing

EDGE = Radio(420.0, path="log-distance", exponent=2.0, power_dbm=-13.0)


# -- the budget ----------------------------------------------------------------------------------------


def test_a_budget_worked_by_hand() -> None:
    # 100 m at 2.45 GHz in free space lose 80.231 dB; -110.96 dBm of noise in 2 MHz and 8 dB on top of it
    radio = Radio(100.0, power_dbm=-8.0, gains_dbi=4.0, path="free space", noise_figure_db=8.0)
    budget = budget_of(radio)
    assert budget.path_loss_db == pytest.approx(80.231, abs=5e-4)
    assert budget.received_dbm == pytest.approx(-8 + 4 - 80.231, abs=5e-4)
    assert budget.noise_dbm == pytest.approx(-110.965 + 8, abs=5e-4)
    assert budget.sinr_db == pytest.approx(-84.231 + 102.965, abs=1e-3)


@pytest.mark.parametrize("shadow_db", [0.0, 5.5, -3.0])
def test_the_terms_of_a_budget_add_up(shadow_db: float) -> None:
    budget = budget_of(replace(EDGE, gains_dbi=2.0), shadow_db)
    gained = budget.power_dbm + budget.gains_dbi
    assert budget.shadowing_db == shadow_db
    assert budget.received_dbm == pytest.approx(gained - budget.path_loss_db - shadow_db)
    assert budget.margin_db == pytest.approx(budget.received_dbm - budget.sensitivity_dbm)
    assert budget.sinr_db == pytest.approx(budget.received_dbm - budget.noise_dbm)


@pytest.mark.parametrize("modulation", sorted(MODULATIONS))
def test_at_its_sensitivity_a_receiver_loses_1_percent_of_frames_of_20_octets(modulation: str) -> None:
    # IEEE 802.15.4-2006, 6.1.7 (memory)
    radio = Radio(100.0, modulation=modulation, path="free space")
    budget = budget_of(radio)
    at_its_edge = budget_of(replace(radio, power_dbm=radio.power_dbm - budget.margin_db))
    assert at_its_edge.margin_db == pytest.approx(0.0, abs=1e-9)
    assert at_its_edge.frame_error(20) == pytest.approx(0.01, rel=1e-6)


def test_the_sinr_that_is_needed_is_the_root_that_scipy_finds() -> None:
    # coherent FSK with two hertz a bit: 1 - (1 - Q(sqrt(2 S)))^160 = 0.01
    def too_many(sinr_db: float) -> float:
        return float(-math.expm1(160 * math.log1p(-norm.sf(math.sqrt(2 * 10 ** (sinr_db / 10))))) - 0.01)

    assert needed_sinr_db(Radio(1.0, modulation="fsk")) == pytest.approx(brentq(too_many, 0, 20), abs=1e-6)


def test_a_sensitivity_takes_the_place_of_a_noise_figure() -> None:
    by_figure = budget_of(replace(EDGE, noise_figure_db=7.0))
    by_sheet = budget_of(replace(EDGE, noise_figure_db=99.0, sensitivity_dbm=by_figure.sensitivity_dbm))
    assert by_sheet.noise_dbm == pytest.approx(by_figure.noise_dbm)
    assert by_sheet.margin_db == pytest.approx(by_figure.margin_db)


def test_energy_a_bit_rises_when_fewer_bits_share_the_power() -> None:
    # Eb/N0 = SINR x bandwidth / bit rate: half the rate in the same bandwidth is worth 3.01 dB
    slow = Radio(100.0, modulation="fsk", bits_per_s=50_000, bandwidth_hz=200e3)
    fast = replace(slow, bits_per_s=100_000)
    assert bit_error(slow, 6.0) == pytest.approx(bit_error(fast, 6.0 + 10 * math.log10(2)), rel=1e-9)


@pytest.mark.parametrize(
    ("path", "grows_db"), [("free space", 6.02), ("two-ray", 12.04), ("log-distance", 10.54)]
)
def test_twice_the_distance_costs_what_the_path_s_law_says(path: str, grows_db: float) -> None:
    # 20, 40 and 35 dB a decade, far beyond the crossing at 231 m
    near = Radio(500.0, path=path, exponent=3.5)
    more = budget_of(replace(near, distance_m=1000.0)).path_loss_db - budget_of(near).path_loss_db
    assert more == pytest.approx(grows_db, abs=5e-3)


def test_bit_errors_are_kept_to_12_digits() -> None:
    found = budget_of(Radio(480.0)).bit_error
    assert 0 < found < 0.1
    assert found == float(f"{found:.12g}")


# -- shadowing -----------------------------------------------------------------------------------------


def test_shadowing_is_one_normal_draw_of_its_standard_deviation() -> None:
    radio = Radio(300.0, path="log-distance", shadowing_db=6.0)
    streams = Streams(3)
    drawn = [shadowing(radio, streams.dice("radio", n)) for n in range(4000)]
    mean = sum(drawn) / len(drawn)
    spread = math.sqrt(sum((d - mean) ** 2 for d in drawn) / len(drawn))
    assert abs(mean) <= 4 * 6.0 / math.sqrt(len(drawn))
    assert abs(spread - 6.0) <= 4 * 6.0 / math.sqrt(2 * len(drawn))
    within = sum(abs(d) <= 6.0 for d in drawn) / len(drawn)
    expected = norm.cdf(1) - norm.cdf(-1)
    assert abs(within - expected) <= 4 * math.sqrt(expected * (1 - expected) / len(drawn))
    assert shadowing(radio, streams.dice("radio", 1)) == drawn[1]


def test_without_shadowing_nothing_is_drawn() -> None:
    dice = Dice(5)
    assert shadowing(EDGE, dice) == 0.0
    assert dice.word() == Dice(5).word()


# -- refusals ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("radio", "words"),
    [
        (Radio(10.0, path="two ray"), "two-ray"),
        (Radio(10.0, modulation="opqsk"), "oqpsk"),
        (Radio(10.0, bits_per_s=100_000), "250000 bit/s"),
        (Radio(10.0, shadowing_db=4.0), "log-distance"),
        (Radio(0.0), "distance of 0"),
        (Radio(10.0, heights_m=(2.0, 0.0)), "antenna height of 0"),
        (Radio(math.inf), "distance of inf"),
        (Radio(10.0, frequency_hz=-1.0), "frequency of -1"),
    ],
)
def test_a_radio_that_cannot_be_is_refused_with_what_would_be_right(radio: Radio, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        stack_of(radio)


# -- frames over it ------------------------------------------------------------------------------------


def test_a_frame_of_802_15_4_takes_32_us_an_octet_and_pieces_of_at_most_127() -> None:
    # 250 kbit/s; 133 octets with preamble, delimiter and length in a piece, 11 of them MAC (memory)
    rate = rate_of(Radio(10.0))
    assert rate.air_us(116) == 133 * 32
    assert rate.air_us(117) == (117 + 2 * 17) * 32
    assert rate.turnaround_us == 12 * 16  # 12 symbols of 16 us


def test_a_radio_s_stack_loses_frames_at_the_error_of_its_budget() -> None:
    radio = replace(EDGE, distance_m=460.0, power_dbm=-8.0)
    octets, count = 176, 20_000
    expected = budget_of(radio).frame_error(octets)
    assert 0.02 < expected < 0.5
    channel, frame = Channel(stack_of(radio), Streams(4)), bytes(octets)
    damaged = sum(channel.carry(frame, t * 100_000)[0][1] != frame for t in range(count))
    assert abs(damaged / count - expected) <= 4 * math.sqrt(expected * (1 - expected) / count)


def test_the_octets_latency_and_air_time_that_are_told_are_those_of_a_flow() -> None:
    radio = Radio(100.0)
    found = figures(Flow(8, 80, 4), rate_of(radio), budget_of(radio).bit_error)
    site = flowing(up=stack_of(radio), down=stack_of(radio), until_us=4_000_000)
    frames = [(t, f) for t, way, f in site.wire if way == "up" and f[1] == 0x20]
    assert {len(f) for _, f in frames} == {found.octets} == {data_octets(8, 4)}
    channel = Channel(stack_of(radio), Streams(1))
    sent_us, frame = frames[-1]
    ((arrival_us, _),) = channel.carry(frame, sent_us)
    first = int.from_bytes(frame[14:22], "little")
    completed_us = (first + 1) * 12_500
    assert arrival_us - completed_us == found.latency_us
    assert arrival_us - sent_us == found.air_us + 192


def test_the_line_that_is_told() -> None:
    budget = Budget(0, 0, 93.1, 0, -93.1, -110, 16.9, -100, 6.9, 1.279e-6)
    flow = Flow(8, 80, 4)
    way = Way(420.0, flow, figures(flow, Rate(250_000), budget.bit_error), budget)
    assert way.text == (
        "420 m, -93.1 dBm, margin 6.9 dB, PER 1.8e-3 for 176 octets, air time 5.63 ms (6 % of the time), "
        "latency 93.1 ms at k = 8"
    )
    told = way.document()
    assert told["budget"]["margin_db"] == 6.9
    assert told["octets"] == 176
    assert told["latency_us"] == 93_132


def test_the_line_says_when_the_way_cannot_keep_up() -> None:
    flow = Flow(1, 80, 4)
    found = figures(flow, Rate(38_400, bits_per_octet=10))
    assert found.busy == pytest.approx(80 * 64 * 10 / 38_400, rel=1e-3)
    assert "more than there is: frames will be lost" in Way(1.0, flow, found, budget_of(EDGE)).text
