"""Flowing: what a host says while all goes well (sections 5 and 7)."""

from __future__ import annotations

from benchsim.ground.clock import SECOND_US, seconds
from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.link.limits import FIRST_BEAT_US, FIRST_BEATS, MAX_CHANNELS
from benchsim.probe.as_node import as_node
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line
from benchsim.probe.node_flow import AT_ONCE_US, BEATS_ONLY


@case("7")
async def first_beats_come_at_once_and_three_soon_after(line: Line) -> None:
    """A host beats at the first moment of a flow, and three times more at the first beat pause."""
    flow = await as_node(line).pair()
    accepted_us, slack_us = line.now_us, AT_ONCE_US + 2 * line.setting.patience_us
    await flow.run(FIRST_BEATS * FIRST_BEAT_US + slack_us)
    beats = flow.those(Kind.BEAT)
    if not beats or beats[0].t_us - accepted_us > slack_us:
        raise Differs("no beat at the first moment of the flow", line.newest)
    if len(beats) < FIRST_BEATS:
        raise Differs(f"{len(beats)} beats at the start of a flow; {FIRST_BEATS} are right", beats[-1].at)
    span_us = beats[FIRST_BEATS - 1].t_us - beats[0].t_us
    if span_us < (FIRST_BEATS - 1) * FIRST_BEAT_US - line.setting.patience_us:
        raise Differs("its first beats do not keep the first beat pause", beats[FIRST_BEATS - 1].at)


@case("7; 8")
async def beats_keep_to_the_beat_time(line: Line) -> None:
    """After the first beats a host beats each beat time that its seek named, and no more while data come."""
    flow = await as_node(line, most_samples_per_frame=4).pair()
    await flow.begun()
    span_us, slack_us = flow.beat_us, AT_ONCE_US + 2 * line.setting.patience_us
    if span_us > 3 * SECOND_US:
        raise NotReached(f"its beat time is {seconds(span_us)}: too long to wait for")
    before = len(flow.heard)
    await flow.run(2 * span_us + slack_us, only=BEATS_ONLY, why="nothing lacks")
    beats = len(flow.heard) - before
    if beats < 2:
        raise Differs(f"{beats} beats in two beat times", line.newest)
    if flow.frame_us + slack_us < flow.liveness_us // 2 and beats > 3 + slack_us // span_us:
        raise Differs(f"{beats} beats in two beat times, though data came all the time", line.newest)


@case("2; 5; 7")
async def beats_count_from_0_and_tell_a_clock(line: Line) -> None:
    """The control lane begins with sequence 0 and goes up; the clock in beats never goes back."""
    flow = await as_node(line).pair()
    await flow.begun()
    beats = flow.those(Kind.BEAT)
    if not beats:
        raise Differs("no beats", line.newest)
    sequences = [b.frame.header.sequence for b in beats]
    if sequences[0] != 0:
        raise Differs(f"its first sequence in a session is {sequences[0]}; 0 is right", beats[0].at)
    if sequences != sorted(set(sequences)):
        raise Differs(f"sequences in this order: {sequences}", beats[-1].at)
    clock = [b.frame.message.host_t_us for b in beats if isinstance(b.frame.message, frames.Beat)]
    if clock != sorted(clock):
        raise Differs("the clock in its beats goes back", beats[-1].at)


@case("7")
async def a_node_that_is_quiet_is_asked_before_it_is_lost(line: Line) -> None:
    """A host that has heard nothing for half its liveness limit beats, before it calls the node lost."""
    flow = await as_node(line, most_samples_per_frame=4).pair()
    await flow.begun()
    if flow.liveness_us // 4 < AT_ONCE_US + 2 * line.setting.patience_us:
        raise NotReached("its liveness limit is too short for this medium")
    why = "nothing was said for more than half the liveness limit"
    asked = await flow.wait(Kind.BEAT, flow.liveness_us // 2 + AT_ONCE_US, why, never=(Kind.RESUME,))
    flow.control(flow.echo_of(asked.frame))
    await flow.clean("the node has answered", flow.liveness_us)


@case("7", untold="rate_hz")
async def a_slow_node_is_not_lost_between_its_frames(line: Line) -> None:
    """The liveness limit is no less than two frame times and the margin, however small it was set."""
    settings, patience_us = line.setting.settings, line.setting.patience_us
    quiet_us = settings.liveness_us + AT_ONCE_US + 2 * patience_us
    rate_hz = max(1, settings.samples_per_frame * SECOND_US // quiet_us)
    flow = await as_node(line, rate_hz=rate_hz).flowing()
    await flow.begun()
    if flow.liveness_us < quiet_us + AT_ONCE_US + 2 * patience_us:
        raise NotReached("its liveness limit is so long that no node is slow enough")
    flow.control(flow.echo_of(flow.beat.frame))
    why = f"its limit is {seconds(flow.liveness_us)}: the node sends a frame each {seconds(flow.frame_us)}"
    await line.silence((Kind.RESUME, Kind.SEEK), quiet_us, why, lambda f: f.header.address == flow.card.strap)
    await flow.lost()


@case("1; 6")
async def frames_without_a_zero_are_taken(line: Line) -> None:
    """Frames as long as its seek lets them be, with no zero among their samples, come whole: nothing lacks.

    On a stream they take COBS blocks of 254 octets, if the seek asks for 16 samples a frame or more.
    """
    flow = await as_node(line, channels=MAX_CHANNELS).flowing()
    width = 4 * MAX_CHANNELS
    for turn in range(3):
        octets = bytes(1 + (17 * place + turn) % 127 for place in range(width * flow.k))
        line.send(flow.samples(flow.next, samples=octets, status=bytes([1] * MAX_CHANNELS)))
        flow.next += flow.k
        await line.pause(flow.frame_us)
    await flow.clean("nothing lacks: the samples had no octet of zero")
    await flow.alive("the samples had no octet of zero")


@case("7")
async def echoes_alone_keep_a_flow(line: Line) -> None:
    """A node that sends no data but echoes each beat is not lost."""
    flow = await as_node(line).flowing()
    end_us = line.now_us + flow.liveness_us + flow.liveness_us // 2
    never = (Kind.RESUME, Kind.SEEK)
    while line.now_us < end_us:
        within_us = min(flow.beat_us, flow.liveness_us // 2) + AT_ONCE_US
        await flow.wait(Kind.BEAT, within_us, "it echoes each beat", never, echoes=True)


@case("7")
async def data_alone_keep_a_flow(line: Line) -> None:
    """A node whose echoes are all lost is not lost while its data come."""
    flow = await as_node(line, most_samples_per_frame=4).flowing()
    for_us = flow.liveness_us + flow.liveness_us // 4
    await flow.run(for_us, echoes=False, only=BEATS_ONLY, why="data came all the time")


@case("5; 9")
async def a_high_sequence_of_data_brings_new_keys(line: Line) -> None:
    """When the data lane reaches the re-key figure the host resumes, and the flow does not stop for it."""
    flow = await as_node(line).flowing()
    if flow.beat_us > 3 * SECOND_US:
        raise NotReached(f"its beat time is {seconds(flow.beat_us)}: too long to wait for")
    flow.session.data_sequence = 0x8000_0000
    within_us = 2 * (flow.beat_us + flow.frame_us + line.setting.patience_us) + AT_ONCE_US
    resume = await flow.run(within_us, until=(Kind.RESUME,))
    if resume is None:
        raise Differs("no resume, though the data lane has reached the re-key figure", line.newest)
    flow.take_up(resume.frame)
    await flow.clean("new keys hold, and nothing was lost", flow.frame_us + flow.asks_within_us)
    first = next((t for t in flow.heard if t.at > resume.at and t.frame.header.kind == Kind.BEAT), None)
    if first is None:
        raise Differs("no beat under the new keys", line.newest)
    if first.frame.header.sequence != 0:
        raise Differs(f"its first sequence under new keys is {first.frame.header.sequence}", first.at)


@case("5; 9")
async def a_high_sequence_of_control_frames_brings_new_keys(line: Line) -> None:
    """When the node's control lane reaches the re-key figure the host resumes too."""
    flow = await as_node(line).flowing()
    if flow.beat_us > 3 * SECOND_US:
        raise NotReached(f"its beat time is {seconds(flow.beat_us)}: too long to wait for")
    flow.session.sequence = 0x8000_0000
    within_us = 3 * (flow.beat_us + flow.frame_us + line.setting.patience_us) + AT_ONCE_US
    resume = await flow.run(within_us, until=(Kind.RESUME,))
    if resume is None:
        raise Differs("no resume, though the control lane has reached the re-key figure", line.newest)
    flow.take_up(resume.frame)
    await flow.clean("new keys hold, and nothing was lost", flow.frame_us + flow.asks_within_us)
