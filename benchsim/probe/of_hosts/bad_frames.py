"""Bad frames: each row of section 3.  No answer, no step, and no number used up: the flow goes on.

What is forged here would show if it were taken: it names samples far ahead, so that all before would lack.
"""

from __future__ import annotations

from benchsim.link import codec, frames
from benchsim.link.frames import Kind
from benchsim.link.keys import cmac
from benchsim.link.limits import (
    AGAIN_RETRY_US,
    CRC_OCTETS,
    LONGEST_FRAME,
    REPLAY_WINDOW,
    SHORTEST_FRAME,
    TAG_OCTETS,
)
from benchsim.probe.as_node import as_node
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line
from benchsim.probe.node_flow import NodeFlow


async def _flow(line: Line) -> NodeFlow:
    return await as_node(line, most_samples_per_frame=4).flowing()


def _ahead(flow: NodeFlow) -> int:
    """A sample that is still to come: whoever takes it lacks ten frames."""
    return flow.next + 10 * flow.k


async def _nothing_of_it(flow: NodeFlow, why: str, *bad: bytes) -> None:
    """None of these moves anything, and what is right is taken after them, under the number they had."""
    for frame in bad:
        flow.line.send(frame)
    flow.send_next()
    await flow.clean(f"a frame was to be dropped: {why}")
    await flow.asked(flow.skip(), why=f"a frame before them was to be dropped: {why}")


@case("3, row 1")
async def a_wrong_crc_is_dropped(line: Line) -> None:
    """A frame whose CRC is wrong is dropped."""
    flow = await _flow(line)
    right = flow.made(_ahead(flow))
    body, crc = right[:-CRC_OCTETS], right[-CRC_OCTETS:]
    inverted = bytes(octet ^ 0xFF for octet in crc)
    await _nothing_of_it(flow, "its CRC is wrong", body + crc[:-1] + bytes([crc[-1] ^ 1]), body + inverted)


@case("3, row 1; 2")
async def a_frame_that_is_too_short_or_too_long_is_dropped(line: Line) -> None:
    """Frames shorter or longer than any frame are dropped."""
    flow = await _flow(line)
    right = flow.made(_ahead(flow))[: -CRC_OCTETS - TAG_OCTETS]
    short = [codec.seal(right[:octets]) for octets in range(0, SHORTEST_FRAME - CRC_OCTETS)]
    body = right + bytes(LONGEST_FRAME + 1 - len(right) - CRC_OCTETS - TAG_OCTETS)
    long = codec.seal(body, flow.session.out.tag(body))
    # On a stream this is a longer run than any frame takes in COBS, too: the line has to be heard again.
    longer = codec.seal(right + b"U" * (LONGEST_FRAME + 20 - len(right)))
    await _nothing_of_it(flow, "it is no frame", b"", b"\0", *short, long, longer)


@case("3, row 2")
async def a_frame_of_an_address_not_expected_is_dropped(line: Line) -> None:
    """A frame for an address that the host does not expect is dropped, though it says whose session it is."""
    flow = await _flow(line)
    elsewhere = next(a for a in range(16, 0, -1) if a not in line.setting.addresses)
    await _nothing_of_it(flow, "it is of another address", flow.made(_ahead(flow), address=elsewhere))


@case("1; 3, row 3")
async def a_field_out_of_range_is_dropped(line: Line) -> None:
    """Frames with an address, flags or rows out of range are dropped, also when they are authentic."""
    flow = await _flow(line)
    first = _ahead(flow)
    bad = (
        flow.made(first, address=0),
        flow.made(first, address=17),
        flow.made(first, flags=3),
        flow.made(first, version=0),
        flow.made(first, rows=0),
        flow.made(first, rows=81),
        flow.sealed(frames.Gone(((flow.next, 0),))),
        flow.sealed(frames.Gone(())),
    )
    await _nothing_of_it(flow, "a field is out of range", *bad)


@case("2; 3, row 3")
async def an_unknown_kind_is_dropped(line: Line) -> None:
    """Frames of kinds that section 2 does not name are dropped, tagged or not."""
    flow = await _flow(line)
    first = _ahead(flow)
    bad = [flow.made(first, kind=kind) for kind in (0x00, 0x06, 0x0F, 0x10, 0x19, 0x1F, 0x22, 0xFF)]
    await _nothing_of_it(flow, "its kind is unknown", *bad)


@case("3, row 3; 10")
async def a_frame_of_the_wrong_direction_is_dropped(line: Line) -> None:
    """Frames without a node's flag, and the host's own frames sent back to it, are dropped."""
    flow = await _flow(line)
    own = line.said[flow.beat.at].octets
    beat = flow.sealed(frames.Beat(line.now_us))
    bad = (flow.made(_ahead(flow), flags=0), own, flow.exchange.prove_body, beat)
    await _nothing_of_it(flow, "it goes the other way", *bad)


@case("3, row 3")
async def a_frame_of_the_wrong_length_is_dropped(line: Line) -> None:
    """Authentic frames with an octet more or less than their fields need are dropped."""
    flow = await _flow(line)
    beat, lacks = flow.beat.frame, flow.skip()
    await flow.asked(lacks)
    line.send(flow.sealed(frames.Gone((lacks,)), more=b"\0"))
    await _still_asks(flow, "its length does not fit")
    flow.repeat(*lacks)
    first = _ahead(flow)
    right = flow.made(first)
    less = right[: -CRC_OCTETS - TAG_OCTETS - 1]
    echo = flow.echo_of(beat, next_sample=first)  # heeded, all before would lack
    bad = (
        flow.made(first, more=b"\0"),
        codec.seal(less, flow.session.out.tag(less)),
        flow.sealed(echo, more=b"\0"),
    )
    await _nothing_of_it(flow, "its length does not fit", *bad)


async def _still_asks(flow: NodeFlow, why: str) -> None:
    """What was said of a gap was not heeded: the host goes on asking for it."""
    await flow.run(2 * flow.line.setting.patience_us)
    flow.heard.clear()
    await flow.run(flow.asks_within_us + AGAIN_RETRY_US, until=(Kind.AGAIN,))
    if not flow.those(Kind.AGAIN):
        raise Differs(f"it asks no more after a frame that was to be dropped: {why}", flow.line.newest)


@case("3, row 4")
async def a_frame_of_another_network_is_dropped(line: Line) -> None:
    """Frames that name another network are dropped, though their tag is right."""
    flow = await _flow(line)
    await _nothing_of_it(
        flow, "it is of another network", flow.made(_ahead(flow), network=line.setting.network ^ 1)
    )


@case("3, row 5")
async def a_frame_of_another_session_or_version_is_dropped(line: Line) -> None:
    """Frames that name another session or version than the flow's are dropped, though their tag is right."""
    flow = await _flow(line)
    first, session = _ahead(flow), flow.session
    bad = (flow.made(first, session=session.number ^ 1), flow.made(first, version=session.version + 1))
    await _nothing_of_it(flow, "it is of another session or version", *bad)


@case("3, row 6; 5; 10")
async def a_replayed_frame_is_dropped(line: Line) -> None:
    """A sequence that was taken before is not taken again, neither in a copy nor under new samples."""
    flow = await _flow(line)
    copy = flow.send_next()
    old = flow.session.data_sequence - 1
    echo = flow.control(frames.Echo(0, line.now_us, flow.next))
    bad = (copy, flow.made(_ahead(flow), sequence=old), echo)
    await _nothing_of_it(flow, "its sequence was taken before", *bad)


@case("3, row 6; 5; 9")
async def a_sequence_older_than_the_window_is_dropped(line: Line) -> None:
    """A sequence number so far behind that the window does not know it is not taken: its samples lack."""
    flow = await _flow(line)
    flow.session.data_sequence += 2 * REPLAY_WINDOW
    flow.send_next()
    old = flow.session.data_sequence - 1 - REPLAY_WINDOW
    lacks = (flow.next, flow.k)
    line.send(flow.made(flow.next, sequence=old))
    flow.next += flow.k
    await flow.asked(lacks, why="the frame with them was older than the replay window")


@case("5; 9")
async def a_sequence_within_the_window_is_taken(line: Line) -> None:
    """A sequence number behind the highest, within the window and not taken yet, is taken."""
    flow = await _flow(line)
    flow.session.data_sequence += 2 * REPLAY_WINDOW
    flow.send_next()
    for behind in (REPLAY_WINDOW - 2, 5, 1):
        line.send(flow.made(flow.next, sequence=flow.session.data_sequence - 1 - behind))
        flow.next += flow.k
    await flow.clean("all sequences were within the window")


@case("3, row 7; 1; 5")
async def a_wrong_tag_is_dropped(line: Line) -> None:
    """A frame whose tag is not that of its direction is dropped, and its sequence is not used up."""
    flow = await _flow(line)
    first, session = _ahead(flow), flow.session
    bad = (
        flow.made(first, tag=lambda _body: bytes(TAG_OCTETS)),
        flow.made(first, tag=session.into.tag),
        flow.made(first, tag=session.resume.tag),
        flow.made(first, tag=lambda body: cmac(session.out.key, body)[-TAG_OCTETS:]),
        flow.made(first, tag=lambda body: _last_bit_turned(session.out.tag(body))),
        flow.made(first, sequence=session.data_sequence + 500, tag=lambda _body: bytes(TAG_OCTETS)),
    )
    await _nothing_of_it(flow, "its tag is wrong", *bad)


def _last_bit_turned(tag: bytes) -> bytes:
    return tag[:-1] + bytes([tag[-1] ^ 1])


@case("3, row 7; 5")
async def a_control_frame_with_a_wrong_tag_is_dropped(line: Line) -> None:
    """Control frames with a wrong tag are dropped: neither a forged gone nor a forged repeat closes a gap."""
    flow = await _flow(line)
    lacks = flow.skip()
    await flow.asked(lacks)
    gone, repeat = frames.Gone((lacks,)), flow.made(lacks[0], Kind.REPEAT, tag=flow.session.into.tag)
    line.send(flow.sealed(gone, tag=flow.session.into.tag))
    line.send(repeat)
    line.send(flow.sealed(frames.Released(line.now_us), tag=flow.session.into.tag))
    await _still_asks(flow, "its tag is wrong")


@case("3, row 9; 6")
async def samples_that_are_had_already_are_dropped(line: Line) -> None:
    """Authentic data whose samples are had already change nothing."""
    flow = await _flow(line)
    first = flow.next
    flow.send_next()
    await _nothing_of_it(
        flow, "its samples were had already", flow.samples(first), flow.samples(first, Kind.REPEAT)
    )


@case("4, host steps; 5; 7")
async def answers_that_nobody_asked_for_move_nothing(line: Line) -> None:
    """Authentic released and resumed that answer nothing leave the flow as it is."""
    flow = await _flow(line)
    resumed = frames.Resumed(1, bytes(16), bytes(16), flow.next)
    flow.control(frames.Released(line.now_us))
    await _nothing_of_it(flow, "nobody asked for it", flow.session.resume_frame(resumed))


@case("3, row 6; 5")
async def the_lanes_count_for_themselves(line: Line) -> None:
    """The data lane and the control lane have windows of their own: the same number is good in each."""
    flow = await _flow(line)
    high = 1_000
    flow.session.data_sequence = high
    flow.send_next()
    lacks = flow.skip()
    await flow.asked(lacks)
    flow.repeat(*lacks)
    await flow.run(2 * line.setting.patience_us + 10_000)
    await flow.clean("the repeat was in the control lane, which is not as far", 400_000)
