"""A cable from its length and rate to the impairments it comes to."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.rate import Rate

DELAY_NS_PER_M = 5
"""Of a cable whose waves run at two thirds of the speed of light (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Cable:
    """length_m.  bits_per_s: on the line.  bit_error: probability that a bit arrives wrong.

    bits_per_octet: 10 with a start and a stop bit, 11 with parity too.  overhead_octets: around each frame;
    a stream's framing has at least two (COBS and its zero).  turnaround_us: of a half-duplex driver.
    """

    length_m: float
    bits_per_s: int = 115_200
    bit_error: float = 0.0
    bits_per_octet: int = 10
    overhead_octets: int = 2
    turnaround_us: int = 0
    queue: int = 16


def delay_us(cable: Cable) -> int:
    """From end to end, to the nearest microsecond."""
    return round(cable.length_m * DELAY_NS_PER_M / 1000)


def rate_of(cable: Cable) -> Rate:
    """What a frame's bits take on the line."""
    return Rate(
        bits_per_s=cable.bits_per_s,
        overhead_octets=cable.overhead_octets,
        queue=cable.queue,
        bits_per_octet=cable.bits_per_octet,
        turnaround_us=cable.turnaround_us,
    )


def stack_of(cable: Cable) -> tuple[Impairment, ...]:
    """The impairments, each way: its rate, its bit errors, its delay; what is 0 is not there."""
    stack: list[Impairment] = [rate_of(cable)]
    if cable.bit_error:
        stack.append(BitErrors(cable.bit_error))
    if late_us := delay_us(cable):
        stack.append(Delay(late_us))
    return tuple(stack)
