"""Plausibility: authentic numbers that cannot be, and data that do not keep to the offer (section 6)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.link.limits import NO_NUMBER
from benchsim.probe.as_node import as_node
from benchsim.probe.case import case
from benchsim.probe.finding import NotReached
from benchsim.probe.line import Line
from benchsim.probe.node_flow import BEATS_ONLY, NodeFlow

# Samples in 1000 s: more than any flow of these cases can be ahead.
FAR_AHEAD_S = 1_000


async def _flow(line: Line) -> NodeFlow:
    return await as_node(line, most_samples_per_frame=4).flowing()


async def _dropped(flow: NodeFlow, why: str, *bad: bytes) -> None:
    for frame in bad:
        flow.line.send(frame)
    await flow.clean(why)
    await flow.alive(why)


@case("6; 9")
async def data_too_far_ahead_is_dropped(line: Line) -> None:
    """Data that begin further ahead than any node can be are dropped, though authentic: nothing lacks."""
    flow = await _flow(line)
    far = flow.next + FAR_AHEAD_S * flow.card.rate_hz // flow.k * flow.k
    await _dropped(flow, "no node can be so far ahead", flow.samples(far), flow.samples(NO_NUMBER))


@case("6")
async def data_ahead_as_a_late_node_may_be_is_taken(line: Line) -> None:
    """Data a second ahead are taken at once, and what lies before them is asked for."""
    flow = await _flow(line)
    lacks = flow.skip(flow.card.rate_hz // flow.k)
    await flow.asked(lacks)


@case("6; 7")
async def an_echo_too_far_ahead_is_dropped(line: Line) -> None:
    """An echo whose next sample no node can have reached is dropped."""
    flow = await _flow(line)
    beat = flow.beat.frame
    far = flow.next + FAR_AHEAD_S * flow.card.rate_hz
    bad = [flow.session.control_frame(flow.echo_of(beat, next_sample=n)) for n in (far, NO_NUMBER)]
    await _dropped(flow, "no node can be so far ahead", *bad)


@case("7")
async def an_echo_of_no_beat_is_dropped(line: Line) -> None:
    """An echo of a beat that was never sent is dropped: what it says of samples is not believed."""
    flow = await _flow(line)
    beat = flow.beat.frame
    said = flow.echo_of(beat, host_t_us=NO_NUMBER - 1, next_sample=flow.next + 10 * flow.k)
    await _dropped(flow, "no such beat was sent", flow.session.control_frame(said))


@case("6; 9")
async def a_clock_of_no_number_is_dropped(line: Line) -> None:
    """Data and echoes whose clock says no number are dropped: the samples lack."""
    flow = await _flow(line)
    beat = flow.beat.frame
    flow.control(flow.echo_of(beat, node_t_us=NO_NUMBER, next_sample=flow.next + 10 * flow.k))
    await flow.clean("the clock in that echo is no number", flow.asks_within_us)
    lacks = (flow.next, flow.k)
    line.send(flow.samples(flow.next, node_t_us=NO_NUMBER))
    flow.next += flow.k
    await flow.asked(lacks, why="the clock in their frame is no number")


@case("6")
async def data_of_other_rows_than_agreed_is_dropped(line: Line) -> None:
    """Authentic data of more or fewer samples than agreed are dropped: the samples lack."""
    flow = await _flow(line)
    for rows in (flow.k - 1, flow.k + 1):
        lacks = (flow.next, flow.k)
        line.send(flow.samples(flow.next, rows=rows))
        flow.next += flow.k
        await flow.asked(lacks, why=f"their frame had {rows} rows where {flow.k} were agreed")
        flow.repeat(*lacks)
        await flow.run(2 * line.setting.patience_us + 10_000)


@case("6")
async def data_of_other_channels_than_agreed_is_dropped(line: Line) -> None:
    """Authentic data of another number of channels than offered are dropped: the samples lack."""
    flow = await _flow(line)
    channels = flow.card.channels - 1 or 2
    lacks = (flow.next, flow.k)
    line.send(flow.samples(flow.next, channels=channels))
    flow.next += flow.k
    await flow.asked(lacks, why=f"their frame had {channels} channels")


@case("6")
async def data_that_begins_between_frames_is_dropped(line: Line) -> None:
    """Authentic data whose first sample is no whole multiple of k are dropped."""
    flow = await _flow(line)
    if flow.k < 2:
        raise NotReached("it wants one sample a frame: every number is a multiple of 1")
    await _dropped(flow, "it begins at no multiple of k", flow.samples(flow.next + 5 * flow.k + 1))


@case("6; 7")
async def a_resumed_too_far_ahead_ends_no_silence(line: Line) -> None:
    """A resumed whose next sample no node can have reached is not believed: the host resumes again."""
    flow = await _flow(line)
    first = await flow.lost()
    far = flow.next + FAR_AHEAD_S * flow.card.rate_hz
    line.send(flow.session.resume_frame(flow.resumed_of(first.frame, next_sample=far)))
    within_us = line.setting.settings.answer_timeout_us + 50_000
    why = "no node can be so far ahead"
    again = await flow.wait(Kind.RESUME, within_us, why, never=BEATS_ONLY | {Kind.AGAIN})
    flow.take_up(again.frame)
    await flow.wait(Kind.BEAT, 50_000, "the node has resumed")


@case("2; 6")
async def gone_of_samples_that_are_to_come_takes_nothing_away(line: Line) -> None:
    """Samples that a node calls gone before they lack are taken and asked for as any others."""
    flow = await _flow(line)
    flow.control(frames.Gone(((flow.next, 100 * flow.k),)))
    await flow.clean("nothing lacks")
    await flow.asked(flow.skip(), why="it was sent and lost after gone had named it")
