"""What the file says of a link to a stack of impairments, the same one each way.

Order: what loses or spoils frames first, then what makes them late, so that a lost frame delays nobody.
"""

from __future__ import annotations

from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.reorder import Reorder
from benchsim.scenario.schema import Channel


def stack_of(channel: Channel) -> tuple[Impairment, ...]:
    """The impairments, in the order in which frames meet them; what is left out or 0 is not there."""
    stack: list[Impairment] = []
    if channel.loss:
        stack.append(Loss(float(channel.loss)))
    if (bursts := channel.bursts) is not None and bursts.begin:
        stack.append(Burst(float(bursts.begin), float(bursts.end), 1.0 - float(bursts.loss)))
    if channel.bit_errors:
        stack.append(BitErrors(float(channel.bit_errors)))
    if channel.duplicates:
        stack.append(Duplicate(float(channel.duplicates)))
    if channel.delay or channel.jitter:
        stack.append(Delay(channel.delay or 0, channel.jitter or 0))
    if channel.reordering:
        stack.append(Reorder(float(channel.reordering)))
    return tuple(stack)
