"""Data in a flow: where it begins, how it is counted, what a frame holds; its two lanes (sections 5, 6)."""

from __future__ import annotations

from itertools import pairwise

from benchsim.ground.clock import SECOND_US
from benchsim.link import frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Data, Kind
from benchsim.probe.as_host import AT_ONCE_US, Flow, as_host, first_of, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line

# What a channel may say: 1 upper stop, 2 lower stop, 4 no bridge found, 8 reference out of range.
STATUS_BITS = 0x0F
# A node's clock and its rate may come from two crystals: a part in fifty is plenty.
CLOCK_PARTS = 50
FRAMES = 5
# Frames so long that one of them more is told from a node that is a little late; so often it is looked.
LONG_FRAME_US, LOOKS = 400_000, 8


def data_in(frame: Frame) -> Data:
    assert isinstance(frame.message, Data)
    return frame.message


async def flowing(line: Line) -> Flow:
    """A flow that has begun just now."""
    await unbound(line)
    return await as_host(line).pair()


@case("4, step 5; 6")
async def flow_begins_where_accept_says(line: Line) -> None:
    """The first data frame begins with the sample that accept names."""
    flow = await flowing(line)
    first = first_of((await flow.several(2))[0])
    if first != flow.accept.next_sample:
        raise Differs(f"the flow begins at sample {first}; accept said {flow.accept.next_sample}")
    await flow.release()


@case("6")
async def frames_begin_at_whole_multiples_of_k(line: Line) -> None:
    """Every data frame begins at a whole multiple of k and follows the one before without a gap."""
    flow = await flowing(line)
    begun = await flow.data()
    await line.pause(flow.frame_us // 2)
    flow.beat()  # amid a frame: nothing that the host says may cost a sample
    firsts = sorted(first_of(f) for f in (begun, *await flow.several(FRAMES - 1)))
    for first in firsts:
        if first % flow.k:
            raise Differs(f"a data frame begins at sample {first}, not a multiple of {flow.k}")
    wanted = list(range(firsts[0], firsts[0] + FRAMES * flow.k, flow.k))
    if firsts != wanted:
        raise Differs(f"data frames begin at {firsts}; with k = {flow.k} due: {wanted}")
    await flow.release()


@case("6")
async def frames_hold_k_rows_of_the_channels_offered(line: Line) -> None:
    """Every data frame holds k samples, as agreed in seek and offer, of as many channels as were offered."""
    await unbound(line)
    for asked in (80, 3):
        flow = await as_host(line, samples_per_frame=asked).pair()
        for frame in await flow.several(1 if asked == 80 else 3):
            data = data_in(frame)
            if data.rows != flow.k:
                raise Differs(f"a data frame of {data.rows} samples; k is {flow.k}")
            if data.channels != flow.offer.channels:
                raise Differs(f"data of {data.channels} channels; {flow.offer.channels} were offered")
    await flow.release()


@case("6")
async def status_says_only_what_it_can(line: Line) -> None:
    """The status octet of each channel has no bits but those that the specification names."""
    flow = await flowing(line)
    for frame in await flow.several(3):
        if wrong := [s for s in data_in(frame).status if s & ~STATUS_BITS]:
            raise Differs(
                f"a channel has the status 0x{wrong[0]:02x}; bits 0x{STATUS_BITS:02x} have a meaning"
            )
    await flow.release()


@case("1; 5")
async def tag_of_each_frame_is_right(line: Line) -> None:
    """Data and echoes are tagged over header and payload with the key of the node's direction."""
    flow = await flowing(line)
    for _ in range(3):
        await flow.echo()
        await flow.data()
    await flow.release()


@case("5")
async def data_lane_counts_by_one_from_0(line: Line) -> None:
    """Data frames are numbered 0, 1, 2 as they follow each other, whatever is said in the other lane."""
    flow = await flowing(line)
    await flow.echo()
    await flow.echo()
    for frame in await flow.several(FRAMES):
        place = (first_of(frame) - flow.accept.next_sample) // flow.k
        if frame.header.sequence != place:
            raise Differs(f"data frame {place} of the flow has the sequence {frame.header.sequence}")
    await flow.release()


@case("5")
async def control_lane_counts_by_one_from_0(line: Line) -> None:
    """Echoes are numbered 0, 1, 2, however many data frames go out between them."""
    flow = await flowing(line)
    sent = []
    for _ in range(3):
        await flow.data()
        t_us = flow.beat()
        echo = await flow.expect(Kind.ECHO, flow.way_us, "a beat was sent")
        sent.append((t_us, echo.header.sequence))
    sequences = sorted(sequence for _, sequence in sent)
    if sequences != [0, 1, 2]:
        raise Differs(f"the first three echoes have the sequences {sequences}; due: 0, 1, 2")
    await flow.release()


@case("6")
async def clock_of_the_samples_never_steps(line: Line) -> None:
    """From frame to frame the node's clock goes on by k samples at the rate offered, and never steps."""
    flow = await flowing(line)
    frame_us, rate_hz = flow.frame_us, flow.offer.rate_hz
    came = await flow.several(max(FRAMES, min(3 * FRAMES, SECOND_US // (2 * frame_us))))
    for one, two in pairwise(came):
        went_us = data_in(two).node_t_us - data_in(one).node_t_us
        due_us = (first_of(two) - first_of(one)) * SECOND_US // rate_hz
        if abs(went_us - due_us) > frame_us // 10 + due_us // CLOCK_PARTS + SECOND_US // rate_hz:
            raise Differs(f"its clock went {went_us} us between frames; {due_us} us at {rate_hz} Hz")
    await flow.release()


@case("6")
async def rate_is_the_one_offered(line: Line) -> None:
    """By the node's own clock and by ours, samples come at the rate offered."""
    flow = await flowing(line)
    patience_us, rate_hz = line.setting.patience_us, flow.offer.rate_hz
    first, at_us = await flow.data(), line.now_us
    count = max(FRAMES, SECOND_US // flow.frame_us)
    last = first
    for _ in range(count):
        last = await flow.data()
    samples = first_of(last) - first_of(first)
    due_us = samples * SECOND_US // rate_hz
    by_node_us = data_in(last).node_t_us - data_in(first).node_t_us
    if abs(by_node_us - due_us) > due_us // CLOCK_PARTS + SECOND_US // rate_hz:
        raise Differs(f"{samples} samples took {by_node_us} us by its clock; {due_us} us at {rate_hz} Hz")
    ours_us = line.now_us - at_us
    if abs(ours_us - due_us) > due_us // CLOCK_PARTS + 2 * patience_us + flow.frame_us // 2:
        raise Differs(f"{samples} samples came in {ours_us} us; {due_us} us at {rate_hz} Hz")
    await flow.release()


@case("6")
async def frame_is_sent_when_its_last_sample_is_complete(line: Line) -> None:
    """A data frame goes out neither before its last sample nor a frame later, by the clock of an echo."""
    flow = await in_long_frames(line)
    patience_us, sample_us = 2 * line.setting.patience_us, SECOND_US // flow.offer.rate_hz
    begun = data_in(await flow.data())
    came, echoes = {begun.first: line.now_us}, []
    for _ in range(LOOKS + 1):
        flow.beat()
        end_us = line.now_us + max(flow.frame_us // LOOKS, 1_000)
        while (frame := await flow.hear(end_us - line.now_us)) is not None:
            if frame.header.kind == Kind.DATA:
                came[first_of(frame)] = line.now_us
            elif isinstance(frame.message, frames.Echo):
                echoes.append((line.now_us, frame.message))
    for at_us, echo in echoes:
        # What is not sent yet was not complete for long, by the clock of the node: no medium matters, only
        # what a busy node may cost.
        behind_us = echo.node_t_us - clock_at(flow, begun, echo.next_sample + flow.k - 1)
        if behind_us > max(AT_ONCE_US, flow.frame_us // 4) + line.setting.patience_us:
            raise Differs(f"a frame complete for {behind_us} us by the node's clock is not sent", line.newest)
        if at_us + patience_us < came.get(echo.next_sample - flow.k, at_us):
            raise Differs(f"sample {echo.next_sample - flow.k} came long after an echo that says it is sent")
    for _ in range(2):
        data, at_us = data_in(await flow.data()), line.now_us
        echo = await flow.echo()
        # By its own clock the frame set out at about when the echo did, less what lay between the two here.
        sent_us = echo.node_t_us - (line.now_us - at_us)
        complete_us = data.node_t_us + (data.rows - 1) * sample_us
        if sent_us < complete_us - sample_us - patience_us:
            raise Differs(f"sent {complete_us - sent_us} us before its last sample, by the node's clock")
    await flow.release()


async def in_long_frames(line: Line) -> Flow:
    """A flow of frames that are long beside what a node may take for a thing that it does at once."""
    await unbound(line)
    return await as_host(line, samples_per_frame=await k_of_long_frames(line)).pair()


async def k_of_long_frames(line: Line) -> int:
    """So many samples take about LONG_FRAME_US."""
    host = as_host(line, samples_per_frame=80)
    offer = (await host.offer(host.exchange())).message
    assert isinstance(offer, frames.Offer)
    return max(1, min(80, offer.rate_hz * LONG_FRAME_US // SECOND_US))


def clock_at(flow: Flow, data: Data, number: int) -> int:
    """The node's clock when a sample was complete, going by a data frame at the rate that it offered."""
    return data.node_t_us + (number - data.first) * SECOND_US // flow.offer.rate_hz


@case("4, step 5")
async def accept_names_a_frame_that_fills_or_the_next(line: Line) -> None:
    """The flow begins with a whole frame that is not complete at the accept: this one or the next."""
    k = await k_of_long_frames(line) if await unbound(line) else 8
    host = as_host(line, samples_per_frame=k)
    for _ in range(3):
        flow = await host.pair()
        echo = await flow.echo()
        begun = data_in((await flow.several(2))[0])
        ahead_us = clock_at(flow, begun, flow.accept.next_sample + flow.k - 1) - echo.node_t_us
        # Its clock was less at the accept, so two frames are the most; its rate may be off a little.
        if ahead_us > 2 * flow.frame_us + flow.frame_us // CLOCK_PARTS + 2 * SECOND_US // flow.offer.rate_hz:
            found = f"the first frame of the flow is complete {ahead_us} us after the accept"
            raise Differs(f"{found}; two frames, {2 * flow.frame_us} us, are the most", line.newest)
    await flow.release()


@case("6; 7")
async def echo_and_data_agree_on_the_next_sample(line: Line) -> None:
    """An echo names the first sample that was not sent yet: all before it were, none after it was."""
    flow = await flowing(line)
    begun = data_in(await flow.data())
    before = begun.first
    await line.pause(flow.frame_us // 2)
    t_us, echo, had = flow.beat(), None, {before: begun.node_t_us}
    end_us = line.now_us + flow.way_us + 2 * flow.frame_us
    while (frame := await flow.hear(end_us - line.now_us)) is not None:
        if frame.header.kind == Kind.DATA:
            had[first_of(frame)] = data_in(frame).node_t_us
        elif isinstance(frame.message, frames.Echo) and frame.message.host_t_us == t_us:
            echo = frame.message
    if echo is None:
        raise Differs("no echo of a beat", line.newest)
    next_sample = echo.next_sample
    if next_sample % flow.k:
        raise Differs(f"its next sample was {next_sample}, amid a frame of {flow.k}", line.newest)
    if next_sample < before + flow.k:
        raise Differs(f"its next sample was {next_sample}; it had sent up to {before + flow.k}", line.newest)
    for due in range(before, next_sample + 1, flow.k):
        if due not in had:
            raise Differs(f"its next sample was {next_sample}; sample {due} was never sent", line.newest)
    # By its own clock, so that no medium matters; its clock and its rate may come from two crystals.
    complete_us = had[next_sample - flow.k] + (flow.k - 1) * SECOND_US // flow.offer.rate_hz
    if complete_us > echo.node_t_us + flow.frame_us // 8:
        raise Differs(f"its next sample was {next_sample}; those before it were still to come", line.newest)
    await flow.release()
