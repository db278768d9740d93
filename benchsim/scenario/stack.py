"""What the file says of a link to a stack of impairments, the same one each way, and to a line about it.

Order: what takes time on the way whether or not it arrives, then what loses or spoils frames, then what makes
them late, so that a lost frame delays nobody by being late.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchsim.ground.randomness import Streams
from benchsim.link import cable, radio
from benchsim.link.figures import Flow, Way, figures
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.reorder import Reorder
from benchsim.link.impairments.replay import Replay
from benchsim.link.impairments.stranger import Stranger
from benchsim.scenario import ways
from benchsim.scenario.equipment import NodeSpec
from benchsim.scenario.findings import Findings
from benchsim.scenario.schema import Channel, File
from benchsim.scenario.text import Loc

WAYS = ("radio", "cable", "rate")


def stack_of(channel: Channel, shadowing_db: float = 0.0) -> tuple[Impairment, ...]:
    """The impairments, in the order in which frames meet them; what is left out or 0 is not there.

    shadowing_db: what was drawn for a radio's path.
    """
    stack = [*_way_stack(channel, shadowing_db)]
    if (other := channel.other_network) is not None:
        rate = next((i for i in stack if isinstance(i, Rate)), Rate())
        stack.insert(1, Stranger(other.gap, other.samples_per_frame, other.network, rate))
    if channel.loss:
        stack.append(Loss(float(channel.loss)))
    if (bursts := channel.bursts) is not None and bursts.begin:
        stack.append(Burst(float(bursts.begin), float(bursts.end), 1.0 - float(bursts.loss)))
    if channel.bit_errors:
        stack.append(BitErrors(float(channel.bit_errors)))
    if channel.duplicates:
        stack.append(Duplicate(float(channel.duplicates)))
    if channel.replays:
        stack.append(Replay(float(channel.replays)))
    if channel.delay or channel.jitter:
        stack.append(Delay(channel.delay or 0, channel.jitter or 0))
    if channel.reordering:
        stack.append(Reorder(float(channel.reordering)))
    return tuple(stack)


# -- all nodes -----------------------------------------------------------------------------------------


def judge_ways(file: File, nodes: Sequence[NodeSpec], findings: Findings) -> None:
    """One way a node at most, and one that can be."""
    _judge_way(file.link, ("link",), findings)
    for node in nodes:
        if node.link is not file.link:
            _judge_way(node.link, (*node.loc, "link"), findings)


def shadows_of(nodes: Sequence[NodeSpec], seed: int | str) -> tuple[float, ...]:
    """What each node's radio loses in shadows, in dB; 0 without a radio.

    One draw a node, whoever else draws; the same both ways, since a path is.
    """
    streams = Streams(seed).child("radio")
    return tuple(
        0.0 if n.link.radio is None else radio.shadowing(_radio(n.link.radio), streams.dice(number))
        for number, n in enumerate(nodes, 1)
    )


def ways_of(
    nodes: Sequence[NodeSpec], samples_per_frame: int, shadows_db: Sequence[float]
) -> tuple[tuple[int, Way], ...]:
    """(address, its way) of each node with a radio, a cable or a rate, for telling."""
    found: list[tuple[int, Way]] = []
    for node, shadowing_db in zip(nodes, shadows_db, strict=True):
        flow = Flow(samples_per_frame, node.card.rate_hz, node.card.channels)
        way = _way_of(node.link, flow, shadowing_db)
        if way is not None and node.address is not None:
            found.append((node.address, way))
    return tuple(found)


# -- one node ------------------------------------------------------------------------------------------


def _way_of(channel: Channel, flow: Flow, shadowing_db: float) -> Way | None:
    late_us = channel.delay or 0
    if channel.radio is not None:
        made = _radio(channel.radio)
        budget = radio.budget_of(made, shadowing_db)
        found = figures(flow, radio.rate_of(made), budget.bit_error, late_us)
        return Way(made.distance_m, flow, found, budget)
    if channel.cable is not None:
        line = _cable(channel.cable)
        found = figures(flow, cable.rate_of(line), line.bit_error, late_us + cable.delay_us(line))
        return Way(line.length_m, flow, found)
    if channel.rate is not None:
        rate = _bare_rate(channel.rate)
        found = figures(flow, rate, float(channel.bit_errors or 0), late_us)
        return Way(None, flow, found, bits_per_s=rate.bits_per_s)
    return None


def _judge_way(channel: Channel, loc: Loc, findings: Findings) -> None:
    given = [name for name in WAYS if getattr(channel, name) is not None]
    if len(given) > 1:
        findings.add((*loc, given[1]), f"both {given[0]} and {given[1]}", "one of radio, cable and rate")
    if channel.radio is not None:
        _judge_keys(channel.radio, (*loc, "radio"), findings)
        with findings.at((*loc, "radio")):
            radio.check_radio(_radio(channel.radio))


def _judge_keys(own: ways.Radio, loc: Loc, findings: Findings) -> None:
    """Refuse a figure that the path, or another figure, has no use for."""
    given = own.model_fields_set
    for name, path in (("heights", "two-ray"), ("exponent", "log-distance")):
        if name in given and own.path != path:
            findings.add((*loc, name), f"{name} on a path of {own.path}", f"path: {path}", key=True)
    if "noise_figure" in given and own.sensitivity is not None:
        findings.add(
            (*loc, "noise figure"), "both sensitivity and noise figure", "keep one of them", key=True
        )


def _way_stack(channel: Channel, shadowing_db: float) -> tuple[Impairment, ...]:
    if channel.radio is not None:
        return radio.stack_of(_radio(channel.radio), shadowing_db)
    if channel.cable is not None:
        return cable.stack_of(_cable(channel.cable))
    return () if channel.rate is None else (_bare_rate(channel.rate),)


def _bare_rate(own: ways.BitRate) -> Rate:
    return Rate(int(own.bits), overhead_octets=own.overhead, queue=own.queue, turnaround_us=own.turnaround)


def _radio(own: ways.Radio) -> radio.Radio:
    return radio.Radio(
        distance_m=float(own.distance),
        frequency_hz=float(own.frequency),
        power_dbm=float(own.power),
        gains_dbi=float(own.gains),
        heights_m=(float(own.heights[0]), float(own.heights[1])),
        path=own.path,
        exponent=own.exponent,
        shadowing_db=float(own.shadowing),
        modulation=own.modulation,
        noise_figure_db=float(own.noise_figure),
        sensitivity_dbm=None if own.sensitivity is None else float(own.sensitivity),
        bits_per_s=None if own.bits is None else int(own.bits),
        bandwidth_hz=None if own.bandwidth is None else float(own.bandwidth),
        overhead_octets=own.overhead,
        queue=own.queue,
    )


def _cable(own: ways.Cable) -> cable.Cable:
    return cable.Cable(
        length_m=float(own.length),
        bits_per_s=int(own.bits),
        bit_error=float(own.bit_errors),
        bits_per_octet=own.bits_an_octet,
        overhead_octets=own.overhead,
        turnaround_us=own.turnaround,
        queue=own.queue,
    )
