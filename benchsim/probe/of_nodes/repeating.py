"""Again, repeat and gone: samples that the host lacks (section 6).

How many samples a repeat holds, up to k, is the node's choice: what is judged is which samples come, and
what they say.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from benchsim.ground.clock import SECOND_US
from benchsim.link import frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Data, Gone, Kind, Repeat
from benchsim.link.limits import MAX_RANGES, REPEAT_SPACING_US
from benchsim.probe.as_host import AT_ONCE_US, Flow, as_host, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line

# So long at the most a node takes from one repeat to the next: its own time comes to the spacing.
REPEAT_TAKES_US = 5 * REPEAT_SPACING_US
# Longer no case waits for all of a long list.
LONG_US = 5 * SECOND_US


def rows_of(data: Data) -> dict[int, bytes]:
    """Each sample of a frame by its number: the octets of its channels."""
    width = 4 * data.channels
    return {data.first + row: data.samples[row * width : (row + 1) * width] for row in range(data.rows)}


@dataclass(slots=True)
class Had:
    """What was heard in a flow.  sent: in data frames; again: in repeats; gone: numbers it no longer has."""

    flow: Flow
    sent: dict[int, bytes] = field(default_factory=dict)
    clocks: dict[int, int] = field(default_factory=dict)
    again: dict[int, bytes] = field(default_factory=dict)
    repeats: list[tuple[int, Frame]] = field(default_factory=list)
    gone: set[int] = field(default_factory=set)

    def take(self, frame: Frame) -> None:
        message = frame.message
        if isinstance(message, Repeat):
            self.again |= rows_of(message)
            self.repeats.append((self.flow.line.now_us, frame))
        elif isinstance(message, Data):
            self.sent |= rows_of(message)
            self.clocks[message.first] = message.node_t_us
        elif isinstance(message, Gone):
            for first, count in message.ranges:
                self.gone |= set(range(first, first + count))

    async def hear(self, for_us: int) -> None:
        """All that comes in so long a time."""
        for_us += self.flow.line.now_us
        while (frame := await self.flow.hear(for_us - self.flow.line.now_us)) is not None:
            self.take(frame)

    def keeps(self, count: int) -> bool:
        """Whether the node surely has its newest `count` samples still when it is asked for them now."""
        flow = self.flow
        on_the_way = (flow.way_us + AT_ONCE_US) * flow.offer.rate_hz // SECOND_US + 2 * flow.k
        return flow.offer.buffer_samples >= count + on_the_way

    async def samples(self, count: int) -> range:
        """The newest `count` samples sent; heard until there are so many.  Raises NotReached, Differs.

        NotReached when the node keeps too few samples to be sure that it still has them.
        """
        if not self.keeps(count):
            kept = self.flow.offer.buffer_samples
            raise NotReached(f"it keeps its last {kept} samples: too few for this case")
        while len(self.sent) < count:
            self.take(await self.flow.data())
        end = max(self.sent) + 1
        return range(end - count, end)

    def ask(self, *ranges: range) -> None:
        """Say again for these samples."""
        self.flow.control(frames.Again(tuple((r.start, len(r)) for r in ranges)))

    async def answered(self, *asked: Iterable[int]) -> None:
        """Hear until each of these samples came again or is gone, and a moment more for what else comes.

        A sample may take a frame, and the node's own time beside the spacing.
        """
        line, left = self.flow.line, set().union(*asked)
        end_us = line.now_us + self.flow.way_us + len(left) * REPEAT_TAKES_US
        while not left <= self.again.keys() | self.gone and line.now_us < end_us:
            frame = await self.flow.hear(end_us - line.now_us)
            if frame is not None:
                self.take(frame)
        await self.hear(AT_ONCE_US)


async def begun(line: Line, k: int | None = None) -> Had:
    """A flow that has begun just now, with k samples a frame."""
    await unbound(line)
    return Had(await (as_host(line) if k is None else as_host(line, samples_per_frame=k)).pair())


def must_be_repeated(had: Had, asked: set[int]) -> None:
    """All samples asked for came again, and no others.  Raises Differs."""
    if more := sorted(set(had.again) - asked):
        raise Differs(f"it repeats sample {more[0]}, which was not asked for")
    if lacking := sorted(asked - set(had.again)):
        said = "says that it no longer has" if lacking[0] in had.gone else "does not repeat"
        raise Differs(f"it {said} sample {lacking[0]}, one of its last", had.flow.line.newest)


@case("6")
async def samples_are_repeated_as_they_were(line: Line) -> None:
    """Samples that the node still has come again when they are asked for, and are those sent before."""
    had = await begun(line)
    asked = await had.samples(3 * had.flow.k)
    had.ask(asked)
    await had.answered(asked)
    must_be_repeated(had, set(asked))
    if long := [frame for _, frame in had.repeats if data_of(frame).rows > had.flow.k]:
        raise Differs(f"a repeat of {data_of(long[0]).rows} samples; k is {had.flow.k}")
    for number in asked:
        if had.again[number] != had.sent[number]:
            raise Differs(f"sample {number} is another when it is repeated", index_of(had, number))
    await had.flow.release()


def index_of(had: Had, number: int) -> int | None:
    """Index of the repeat that holds a sample among all that was said."""
    for _, frame in had.repeats:
        if number in rows_of(data_of(frame)):
            said = had.flow.line.said
            return next((i for i, s in enumerate(said) if s.octets.startswith(frame.body)), None)
    return None


def data_of(frame: Frame) -> Data:
    assert isinstance(frame.message, Data)
    return frame.message


@case("6")
async def repeats_say_the_clock_of_their_samples(line: Line) -> None:
    """A repeat that begins where a data frame did says the same clock as that frame."""
    had = await begun(line)
    asked = await had.samples(2 * had.flow.k)
    had.ask(asked)
    await had.answered(asked)
    for _, frame in had.repeats:
        repeat = data_of(frame)
        if repeat.node_t_us != had.clocks.get(repeat.first, repeat.node_t_us):
            raise Differs(f"the clock of sample {repeat.first} is another when it is repeated")
    await had.flow.release()


@case("5; 6")
async def repeats_go_in_the_control_lane(line: Line) -> None:
    """Repeats and echoes count in one lane by one from 0; data frames count on by themselves."""
    had = await begun(line)
    flow = had.flow
    asked = await had.samples(2 * flow.k)
    had.ask(asked)
    flow.beat()
    control: list[Frame] = []
    data: list[Frame] = []
    end_us = line.now_us + flow.way_us + len(asked) * REPEAT_TAKES_US
    while (frame := await flow.hear(end_us - line.now_us)) is not None:
        (data if frame.header.kind == Kind.DATA else control).append(frame)
    if not any(frame.header.kind == Kind.REPEAT for frame in control):
        raise Differs("no repeat of samples that it still has", line.newest)
    counted = sorted(frame.header.sequence for frame in control)
    if counted != list(range(len(counted))):
        raise Differs(f"repeats and echo have the sequences {counted}; due: by one from 0")
    for frame in data:
        place = (data_of(frame).first - flow.accept.next_sample) // flow.k
        if frame.header.sequence != place:
            raise Differs(f"data frame {place} of the flow has the sequence {frame.header.sequence}")
    await flow.release()


@case("6; 9")
async def repeats_are_spaced(line: Line) -> None:
    """Repeats go out one each 5 ms, and leave the medium to others between."""
    had = await begun(line, k=1)
    patience_us = line.setting.patience_us
    wanted = min(10 + 2 * patience_us // REPEAT_SPACING_US, 80)
    asked = await had.samples(wanted)
    had.ask(asked)
    await had.answered(asked)
    must_be_repeated(had, set(asked))
    took_us = had.repeats[-1][0] - had.repeats[0][0]
    due_us = (len(had.repeats) - 1) * REPEAT_SPACING_US
    if took_us < due_us - patience_us - REPEAT_SPACING_US:
        raise Differs(f"{len(had.repeats)} repeats in {took_us} us; one each {REPEAT_SPACING_US} us is due")
    await had.flow.release()


@case("6")
async def what_is_too_old_is_gone(line: Line) -> None:
    """Samples that the node no longer has are told as gone, and those that it has are still repeated."""
    had = await begun(line)
    flow = had.flow
    recent = await had.samples(flow.k)
    end = flow.accept.next_sample - flow.offer.buffer_samples - 2 * flow.k
    if end < 3 * flow.k:
        raise NotReached("its counter is so low that nothing is too old yet")
    two = range(end - 3 * flow.k, end - 2 * flow.k), range(end - flow.k, end)
    old = set().union(*two)
    had.ask(*two, recent)
    await had.answered(old, recent)
    if more := sorted(had.gone - old):
        raise Differs(f"it says that sample {more[0]} is gone, which it still has or was not asked for")
    if kept := sorted(old & set(had.again)):
        raise Differs(f"it repeats sample {kept[0]}, which is older than all that it keeps")
    if lacking := sorted(old - had.gone):
        raise Differs(f"it does not say that sample {lacking[0]} is gone", line.newest)
    must_be_repeated(had, set(recent))
    await flow.release()


@case("6")
async def what_is_partly_too_old_is_partly_repeated(line: Line) -> None:
    """Of a range that is too old at its beginning only that is gone; what was just sent is repeated."""
    had = await begun(line)
    flow = had.flow
    sent = await had.samples(flow.k)
    end, too_old = sent.stop, flow.accept.next_sample - flow.offer.buffer_samples - flow.k
    asked = range(max(too_old - flow.k, end - 0xFFFF), end)  # a range counts no further
    if asked.start < 0:
        raise NotReached("its counter is so low that nothing is too old yet")
    takes_us = min(len(asked) * REPEAT_TAKES_US, LONG_US)
    if not had.keeps(flow.k + takes_us * flow.offer.rate_hz // SECOND_US):
        raise NotReached(f"it keeps its last {flow.offer.buffer_samples} samples: too few for this case")
    had.ask(asked)
    end_us = line.now_us + flow.way_us + takes_us
    while not set(sent) & (had.again.keys() | had.gone) and line.now_us < end_us:
        if (frame := await flow.hear(end_us - line.now_us)) is not None:
            had.take(frame)
    await had.hear(AT_ONCE_US)
    if wrong := sorted(had.gone & set(sent)):
        raise Differs(f"it says that sample {wrong[0]} is gone, one of its last", line.newest)
    if lacking := sorted(set(range(asked.start, too_old)) - had.gone):
        raise Differs(f"it does not say that sample {lacking[0]} is gone", line.newest)
    if not set(asked) & had.again.keys() or (takes_us < LONG_US and not set(sent) <= had.again.keys()):
        raise Differs("it does not repeat the rest of a range that is too old at its beginning", line.newest)
    await flow.release()


@case("6")
async def new_list_takes_the_place_of_the_old(line: Line) -> None:
    """When the host says again anew, what stood in the list before is no longer repeated."""
    had = await begun(line, k=1)
    samples = await had.samples(2 * MAX_RANGES + 1)
    singles = [range(n, n + 1) for n in samples[: 2 * MAX_RANGES : 2]]  # apart: each takes a frame
    had.ask(*singles)
    had.ask(range(samples[-1], samples[-1] + 1))
    await had.answered(*singles, samples[-1:])
    if samples[-1] not in had.again:
        raise Differs(f"it does not repeat sample {samples[-1]}, which the newest list asks for", line.newest)
    earliest = min((frame for _, frame in had.repeats), key=lambda frame: frame.header.sequence)
    if data_of(earliest).first == samples[-1] and len(had.again) > 1:
        raise NotReached("the second list overtook the first")
    whole = all(one.start in had.again for one in singles)
    if whole and line.setting.patience_us >= MAX_RANGES * REPEAT_SPACING_US:
        raise NotReached("on so slow a medium the whole list may be repeated before the next one arrives")
    if whole:
        raise Differs("it repeats the whole of a list in whose place another one had come")
    await had.flow.release()


@case("6")
async def samples_not_sent_yet_are_left_out(line: Line) -> None:
    """Asked for samples that are still to come, a node neither makes them up nor says that they are gone."""
    had = await begun(line)
    flow = had.flow
    recent = await had.samples(flow.k)
    count = min(flow.k + 10 * flow.offer.rate_hz, 0xFFFF)
    had.ask(range(recent.start, recent.start + count))
    await had.answered(recent)
    if wrong := sorted(n for n in had.gone if n >= recent.start):
        raise Differs(f"it says that sample {wrong[0]} is gone, which it has or will have")
    if lacking := sorted(set(recent) - set(had.again)):
        raise Differs(f"it does not repeat sample {lacking[0]}, one of its last", line.newest)
    heard_us = 2 * line.setting.patience_us
    await had.hear(heard_us + 2 * flow.frame_us)
    for number, octets in had.again.items():
        if had.sent.get(number, octets if number < recent.start else b"") != octets:
            raise Differs(f"it repeats sample {number}, which it never sent so", index_of(had, number))
    await flow.release()
