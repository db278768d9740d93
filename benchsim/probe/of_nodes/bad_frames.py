"""What is done with bad frames in a session: no answer, and no step moves (section 3).

Each bad frame is a beat that carries a time of its own, so that an answer shows which one was taken.
"""

from __future__ import annotations

import struct
from collections.abc import Awaitable, Callable

from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.keys import Tagger
from benchsim.link.limits import HEADER_OCTETS, LONGEST_FRAME, REPLAY_WINDOW, SEQUENCE_LAST
from benchsim.probe.as_host import Flow, as_host, changed_body, first_of, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name

CRC_OCTETS = 4
MARK = 0x5EED_0000_0000
# What a node may say of itself while it flows.
UNASKED = (Kind.DATA,)


class Marks:
    """Beats that no right node answers.  Each has a time of its own, and words for what is wrong with it."""

    def __init__(self, flow: Flow) -> None:
        self.flow = flow
        self.sent: dict[int, str] = {}

    def beat(self, what: str) -> frames.Beat:
        """The next beat, with words for what will be wrong with it."""
        t_us = MARK + len(self.sent)
        self.sent[t_us] = what
        return frames.Beat(t_us)

    def send(self, what: str, make: Callable[[frames.Beat], bytes]) -> None:
        """Send the next beat as it is made."""
        self.flow.line.send(make(self.beat(what)))

    async def unheeded(self) -> None:
        """Nothing was answered; a good beat still is, and the flow goes on.  Raises Differs."""
        flow, line = self.flow, self.flow.line
        good, echoed = flow.beat(), False
        end_us = line.now_us + flow.way_us
        while (frame := await flow.hear(end_us - line.now_us)) is not None:
            message = frame.message
            if isinstance(message, frames.Echo):
                if what := self.sent.get(message.host_t_us):
                    raise Differs(f"it answers a beat {what}")
                echoed = echoed or message.host_t_us == good
            elif frame.header.kind not in UNASKED:
                raise Differs(f"it said {name(frame)} to a beat that is not right")
        if not echoed:
            raise Differs(f"no echo of a good beat after ones {' or '.join(self.sent.values())}", line.newest)
        await flow.data("bad frames move nothing")


async def in_a_flow(line: Line, bad: Callable[[Flow, Marks], Awaitable[None] | None]) -> None:
    """Pair, say bad frames, and see that they are not heeded."""
    await unbound(line)
    flow = await as_host(line).pair()
    marks = Marks(flow)
    waits = bad(flow, marks)
    if waits is not None:
        await waits
    await marks.unheeded()
    await flow.release()


@case("3")
async def frame_with_a_wrong_crc_is_dropped(line: Line) -> None:
    """A frame whose CRC is wrong is not heeded, though its tag is right."""

    def bad(flow: Flow, marks: Marks) -> None:
        marks.send("whose CRC is wrong in one bit", lambda b: flip(flow.frame(b), -1))
        marks.send("whose CRC is all zeros", lambda b: flow.frame(b)[:-CRC_OCTETS] + bytes(CRC_OCTETS))
        marks.send("whose CRC is inverted", lambda b: inverted(flow.frame(b)))

    await in_a_flow(line, bad)


def flip(frame: bytes, place: int) -> bytes:
    """The frame with one bit of one octet turned."""
    at = place % len(frame)
    return frame[:at] + bytes([frame[at] ^ 1]) + frame[at + 1 :]


def inverted(frame: bytes) -> bytes:
    """The frame with each bit of its CRC turned."""
    return frame[:-CRC_OCTETS] + bytes(octet ^ 0xFF for octet in frame[-CRC_OCTETS:])


@case("3")
async def frame_too_short_or_too_long_is_dropped(line: Line) -> None:
    """Nothing shorter or longer than any frame is heeded, though its CRC is right."""

    def bad(flow: Flow, marks: Marks) -> None:
        whole = flow.frame(frames.Beat(MARK))
        for size in (1, 4, 17):
            line.send(whole[:size])
        for size in (0, 10, 13):
            line.send(codec.seal(whole[:size]))
        filled = LONGEST_FRAME + 1 - len(whole)
        marks.send(
            "longer than any frame",
            lambda b: flow.sealed(codec.body_of(flow.session.header(b.KIND, 99), b) + bytes(filled)),
        )
        # On a stream this is a longer run than any frame takes in COBS, too: the line has to be heard again.
        marks.send(
            "longer than any frame takes in COBS",
            lambda b: flow.sealed(codec.body_of(flow.session.header(b.KIND, 100), b) + b"U" * (filled + 20)),
        )

    await in_a_flow(line, bad)


@case("3")
async def frame_of_the_wrong_length_is_dropped(line: Line) -> None:
    """A frame that is not as long as its kind is not heeded, though CRC and tag are right."""

    def bad(flow: Flow, marks: Marks) -> None:
        def resized(beat: frames.Beat, more: bytes, less: int = 0) -> bytes:
            whole = flow.frame(beat)
            body = changed_body(whole)
            return flow.sealed(body[: len(body) - less] + more)

        marks.send("an octet too long", lambda b: resized(b, b"\0"))
        marks.send("eight octets too long", lambda b: resized(b, bytes(8)))
        marks.send("an octet too short", lambda b: resized(b, b"", 1))
        marks.send("without a tag", lambda b: codec.seal(changed_body(flow.frame(b))))
        line.send(resized(frames.Beat(0), b"", 8))

    await in_a_flow(line, bad)


@case("3")
async def frame_for_another_address_is_dropped(line: Line) -> None:
    """A session frame with another address is not heeded, though its tag is right."""

    def bad(flow: Flow, marks: Marks) -> None:
        others = [a for a in range(1, 17) if a not in line.setting.addresses][:2]
        for address in (*others, 0, 17, 255):
            marks.send(
                f"for address {address}",
                lambda b, address=address: flow.frame(b, address=address),  # type: ignore[misc]
            )

    await in_a_flow(line, bad)


@case("3")
async def frame_of_another_network_is_dropped(line: Line) -> None:
    """A session frame of another network is not heeded, though its tag is right."""

    def bad(flow: Flow, marks: Marks) -> None:
        network = line.setting.network
        marks.send("of another network", lambda b: flow.frame(b, network=network ^ 1))
        marks.send("of another network", lambda b: flow.frame(b, network=network ^ 0x8000))

    await in_a_flow(line, bad)


@case("3")
async def frame_with_a_field_out_of_range_is_dropped(line: Line) -> None:
    """A session frame with a field out of its range is not heeded, though its tag is right."""

    async def bad(flow: Flow, marks: Marks) -> None:
        marks.send("of version 0", lambda b: flow.frame(b, version=0))
        marks.send("with flags 2", lambda b: flow.frame(b, flags=2))
        marks.send("with flags 128", lambda b: flow.frame(b, flags=128))
        had = first_of(await flow.data())  # it was sent: whoever heeds one of these lists sends it again
        one = struct.pack("<QH", had, 1)
        none = struct.pack("<QH", had, 0)
        for count, ranges in ((0, b""), (17, one * 17), (1, none), (2, one + none), (2, one)):
            header = changed_body(flow.frame(frames.Again(((had, 1),))))[:HEADER_OCTETS]
            line.send(flow.sealed(header + bytes([count]) + ranges))

    await in_a_flow(line, bad)


@case("3")
async def frame_of_an_unknown_kind_is_dropped(line: Line) -> None:
    """A frame of a kind that is not in the specification is not heeded."""

    def bad(flow: Flow, marks: Marks) -> None:
        for kind in (0x00, 0x06, 0x10, 0x19, 0x22, 0x91, 0xFF):
            marks.send(f"of kind 0x{kind:02x}", lambda b, kind=kind: flow.frame(b, kind=kind))  # type: ignore[misc]

    await in_a_flow(line, bad)


@case("3; 10")
async def frame_of_the_wrong_direction_is_dropped(line: Line) -> None:
    """What only a node says is not heeded, nor a host's frame with the flag of a node, whatever the tag."""

    def bad(flow: Flow, marks: Marks) -> None:
        marks.send("with the flag of a node", lambda b: flow.frame(b, flags=FROM_NODE))
        for message in (frames.Echo(MARK, 0, 0), frames.Released(MARK), frames.Gone(((0, 1),))):
            line.send(flow.frame(message))
            line.send(flow.frame(message, flags=FROM_NODE))

    await in_a_flow(line, bad)


@case("10")
async def own_frames_sent_back_are_dropped(line: Line) -> None:
    """A node does not heed its own frames when they come back to it."""

    async def bad(flow: Flow, marks: Marks) -> None:
        await flow.echo()
        await flow.data()
        line.send(codec.seal(flow.accepted.body))
        for said in [s.octets for s in line.said if s.by_device][-4:]:
            line.send(said)
        up = flow.session.into
        marks.send("tagged with the node's own key", lambda b: flow.frame(b, up, flags=FROM_NODE))

    await in_a_flow(line, bad)


@case("3")
async def frame_of_another_session_or_version_is_dropped(line: Line) -> None:
    """A frame whose session or version is not that of the session is not heeded, though its tag is right."""

    def bad(flow: Flow, marks: Marks) -> None:
        number = flow.session.number
        marks.send("of another session", lambda b: flow.frame(b, session=number ^ 1))
        marks.send("of session 0", lambda b: flow.frame(b, session=0))
        marks.send("of another version", lambda b: flow.frame(b, version=flow.session.version + 1))

    await in_a_flow(line, bad)


@case("3; 5")
async def frame_with_a_wrong_tag_is_dropped(line: Line) -> None:
    """A frame whose tag is wrong anywhere, or made with another key, is not heeded."""

    def bad(flow: Flow, marks: Marks) -> None:
        session = flow.session
        zeros, up, resume = Tagger(bytes(16)), session.into, session.resume

        def retagged(beat: frames.Beat, place: int) -> bytes:
            content = flow.frame(beat)[:-CRC_OCTETS]
            return codec.seal(flip(content, place))

        marks.send("whose tag is wrong in its first octet", lambda b: retagged(b, -8))
        marks.send("whose tag is wrong in its last octet", lambda b: retagged(b, -1))
        marks.send("tagged with a key of zeros", lambda b: flow.frame(b, zeros))
        marks.send("tagged with the node's key", lambda b: flow.frame(b, up))
        marks.send("tagged with the resume key", lambda b: flow.frame(b, resume))
        marks.send("with a tag of zeros", lambda b: codec.seal(changed_body(flow.frame(b)) + bytes(8)))
        line.send(flow.frame(frames.Release(MARK), zeros))
        line.send(flow.frame(frames.Release(MARK), up))

    await in_a_flow(line, bad)


@case("3; 5")
async def header_is_tagged_too(line: Line) -> None:
    """A frame whose header was changed after it was tagged is not heeded: its sequence or its kind."""

    def bad(flow: Flow, marks: Marks) -> None:
        def changed_after(beat: frames.Beat, place: int) -> bytes:
            return codec.seal(flip(flow.frame(beat)[:-CRC_OCTETS], place))

        # Octets of the sequence: bits 8 and 24 of the number, higher than all before it.
        marks.send("with another sequence than was tagged", lambda b: changed_after(b, 11))
        marks.send("with another sequence than was tagged", lambda b: changed_after(b, 13))
        # 0x17, release, is laid out as 0x11, beat.
        release = changed_body(flow.frame(frames.Release(MARK)))
        as_beat = release[:1] + bytes([Kind.BEAT]) + release[2:]
        tag = flow.session.out.tag(as_beat)
        line.send(codec.seal(release, tag))

    await in_a_flow(line, bad)


@case("3; 5")
async def replayed_frame_is_dropped(line: Line) -> None:
    """A frame that was taken once is not answered a second time."""
    await unbound(line)
    flow = await as_host(line).pair()
    for which in range(2):
        t_us = MARK + which
        frame = flow.control(frames.Beat(t_us))
        line.send(frame)
        line.send(frame)
        came = [f for f in await flow.heard(flow.way_us) if is_echo_of(f, t_us)]
        if len(came) != 1:
            raise Differs(f"{len(came)} echoes of one beat that was sent three times", line.newest)
    await flow.echo("a frame was replayed")
    await flow.release()


def is_echo_of(frame: Frame, t_us: int) -> bool:
    message = frame.message
    return isinstance(message, frames.Echo) and message.host_t_us == t_us


@case("5")
async def frame_older_than_the_window_is_dropped(line: Line) -> None:
    """A sequence is taken once, in any order, while it is within the replay window; older ones are not."""
    await unbound(line)
    flow = await as_host(line).pair()
    session = flow.session

    async def sent(sequence: int, t_us: int) -> bool:
        session.sequence = sequence
        flow.control(frames.Beat(t_us))
        return any(is_echo_of(f, t_us) for f in await flow.heard(flow.way_us))

    highest = 3 * REPLAY_WINDOW
    for back, due in ((0, True), (REPLAY_WINDOW - 1, True), (5, True), (REPLAY_WINDOW + 1, False)):
        if await sent(highest - back, MARK + back) != due:
            said = "no echo of a beat" if due else "an echo of a beat"
            raise Differs(f"{said} that is {back} behind the highest; the window is {REPLAY_WINDOW}")
    session.sequence = highest + 1
    await flow.echo()
    await flow.release()


@case("3; 5")
async def sequence_is_used_up_by_a_right_tag_only(line: Line) -> None:
    """A frame with a wrong tag uses up no sequence number: the right frame of that number is taken."""
    await unbound(line)
    flow = await as_host(line).pair()
    zeros = Tagger(bytes(16))
    sequence = flow.session.sequence
    for ahead in (0, 1, 1000, SEQUENCE_LAST - sequence):
        line.send(flow.frame(frames.Beat(MARK), zeros, sequence=sequence + ahead))
    flow.session.sequence = sequence
    await flow.echo("forged frames used up no sequence number")
    await flow.echo("forged frames used up no sequence number")
    await flow.release()
