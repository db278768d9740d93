"""Cables: delay of their length, time of their octets, bit errors as given."""

from __future__ import annotations

import pytest

from benchsim.ground.randomness import Streams
from benchsim.link.cable import Cable, delay_us, rate_of, stack_of
from benchsim.link.channel import Channel
from benchsim.link.figures import Flow, Way, figures
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.rate import Rate


@pytest.mark.parametrize(("length_m", "expected_us"), [(10.0, 0), (200.0, 1), (1200.0, 6), (10_000.0, 50)])
def test_a_cable_delays_by_5_ns_a_metre(length_m: float, expected_us: int) -> None:
    # about two thirds of the speed of light: common practice, no source
    assert delay_us(Cable(length_m)) == expected_us


def test_a_cable_s_stack_has_what_it_is_and_nothing_else() -> None:
    assert stack_of(Cable(30.0)) == (Rate(115_200, 2, 16, 0, 10, 0),)
    long = Cable(1200.0, 9600, 1e-6, bits_per_octet=11, overhead_octets=4, turnaround_us=500, queue=3)
    assert stack_of(long) == (Rate(9600, 4, 3, 0, 11, 500), BitErrors(1e-6), Delay(6))


def test_a_frame_takes_its_octets_and_the_length() -> None:
    # (176 + 2) octets of 10 bits at 115200 bit/s are 15451.4 us, rounded up; 6 us of 1200 m
    ((arrival_us, _),) = Channel(stack_of(Cable(1200.0)), Streams(1)).carry(bytes(176), 1000)
    assert arrival_us == 1000 + 15_452 + 6


def test_the_line_that_is_told_of_a_cable() -> None:
    cable, flow = Cable(30.0, bit_error=1e-7), Flow(8, 80, 4)
    way = Way(30.0, flow, figures(flow, rate_of(cable), cable.bit_error, delay_us(cable)))
    assert way.text == (
        "30 m of cable, PER 1.4e-4 for 176 octets, air time 15.5 ms (15 % of the time), "
        "latency 103 ms at k = 8"
    )


def test_samples_arrive_later_and_the_way_is_freer_when_more_of_them_share_a_frame() -> None:
    rate = rate_of(Cable(30.0))
    found = [figures(Flow(k, 80, 4), rate) for k in (1, 4, 8, 20, 80)]
    assert [f.latency_us for f in found] == sorted(f.latency_us for f in found)
    assert [f.busy for f in found] == sorted((f.busy for f in found), reverse=True)
