"""Gaps: what a host asks for again, when, how often, and when it lets it be (section 6)."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.link.limits import AGAIN_GRACE_US, AGAIN_RETRY_US, AGAIN_TRIES, MAX_RANGES, REPEAT_SPACING_US
from benchsim.probe.as_node import AsNode, as_node
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line
from benchsim.probe.node_flow import AT_ONCE_US, NodeFlow, Took, joined, listed, ranges_of

# A gap may be asked for with the retry of another.
LATEST_US = AGAIN_RETRY_US + AT_ONCE_US


def _short_frames(line: Line, k: int = 4) -> AsNode:
    return as_node(line, most_samples_per_frame=k)


def _lists(took: Took | None, lacks: Sequence[tuple[int, int]], line: Line) -> None:
    """Raises Differs when nothing is asked for, or anything but what lacks."""
    if took is None:
        raise Differs(f"it does not ask again for {listed(lacks)}", line.newest)
    asked = ranges_of(took.frame)
    if asked != joined(lacks):
        raise Differs(f"it asks again for {listed(asked)}; it lacks {listed(lacks)}", took.at)


async def _settled(flow: NodeFlow, why: str) -> None:
    """What was said before the answer came is over; from here on nothing may be asked for."""
    await flow.run(2 * flow.line.setting.patience_us + 10_000)
    await flow.clean(why, 2 * AGAIN_RETRY_US)


@case("6")
async def a_gap_is_asked_for_after_the_grace(line: Line) -> None:
    """A host asks for exactly the samples that lack, not before the grace is over and soon after it."""
    flow = await _short_frames(line).flowing()
    lacks = flow.skip()
    flow.send_next()
    behind_us = line.now_us
    took = await flow.asked(lacks)
    if took.t_us - behind_us < AGAIN_GRACE_US - 2_000:  # timers of a real device are not exact
        raise Differs("it asks before the again grace is over", took.at)
    flow.repeat(*lacks)
    await _settled(flow, "all samples were sent again")


@case("6")
async def a_frame_that_comes_late_is_not_asked_for(line: Line) -> None:
    """A frame that comes after the next one, within the grace, closes its gap: nothing is asked for."""
    flow = await _short_frames(line).flowing()
    late = flow.samples(flow.next)
    flow.next += flow.k
    flow.send_next()
    line.send(late)
    await _settled(flow, "the frame was only late")


@case("6; 9")
async def a_list_is_repeated_then_given_up(line: Line) -> None:
    """A host repeats its list at each again retry, as often as section 9 says, and then lets the gap be."""
    flow = await _short_frames(line).flowing()
    lacks = flow.skip()
    heard_us = (await flow.asked(lacks)).t_us
    for turn in range(2, AGAIN_TRIES + 1):
        took = await flow.run(AGAIN_RETRY_US + AT_ONCE_US + 2 * line.setting.patience_us, until=(Kind.AGAIN,))
        if took is None:
            raise Differs(f"it asks {turn - 1} times; {AGAIN_TRIES} are right", line.newest)
        _lists(took, (lacks,), line)
        if took.t_us - heard_us < AGAIN_RETRY_US - line.setting.patience_us:
            raise Differs("it asks again before the again retry", took.at)
        heard_us = took.t_us
    await flow.clean("the gap is given up", 2 * LATEST_US + 2 * line.setting.patience_us)


@case("6")
async def what_is_gone_is_not_asked_for_again(line: Line) -> None:
    """Samples that the node calls gone stay a gap, and are asked for no more."""
    flow = await _short_frames(line).flowing()
    lacks = flow.skip()
    await flow.asked(lacks)
    flow.control(frames.Gone((lacks,)))
    await _settled(flow, "the node has them no more")


@case("6")
async def what_is_partly_gone_and_partly_repeated_is_over(line: Line) -> None:
    """When a part of a gap is gone and the rest was repeated, nothing more is asked for."""
    flow = await _short_frames(line).flowing()
    first, count = flow.skip(2)
    await flow.asked((first, count))
    flow.control(frames.Gone(((first, flow.k),)))
    flow.repeat(first + flow.k, count - flow.k)
    await _settled(flow, "a part is gone, the rest was sent again")


@case("6")
async def the_rest_of_what_is_partly_gone_is_asked_for(line: Line) -> None:
    """When a part of a gap is gone, the next list has the rest of it and nothing else."""
    flow = await _short_frames(line).flowing()
    first, count = flow.skip(3)
    await flow.asked((first, count))
    flow.control(frames.Gone(((first, flow.k),)))
    await flow.run(2 * line.setting.patience_us)
    took = await flow.run(2 * LATEST_US + 2 * line.setting.patience_us, until=(Kind.AGAIN,))
    rest = (first + flow.k, count - flow.k)
    _lists(took, (rest,), line)
    flow.repeat(*rest)
    await _settled(flow, "a part is gone, the rest was sent again")


@case("6")
async def only_what_still_lacks_is_asked_for(line: Line) -> None:
    """After a part of a gap was repeated, the next list has the rest of it and nothing else."""
    flow = await _short_frames(line).flowing()
    first, count = flow.skip(3)
    await flow.asked((first, count))
    flow.repeat(first + flow.k, flow.k)
    await flow.run(2 * line.setting.patience_us)
    flow.heard.clear()
    took = await flow.run(2 * LATEST_US + 2 * line.setting.patience_us, until=(Kind.AGAIN,))
    rest = ((first, flow.k), (first + 2 * flow.k, flow.k))
    _lists(took, rest, line)
    for one in rest:
        flow.repeat(*one)
    await _settled(flow, "all samples were sent again")


@case("2; 6")
async def several_gaps_stand_in_one_list(line: Line) -> None:
    """A list names all gaps, each once: it takes the place of the one before."""
    flow = await _short_frames(line).flowing()
    lacks = []
    for _ in range(3):
        lacks.append(flow.skip())
        await flow.run(flow.frame_us)
    await flow.run(flow.asks_within_us)
    await _all_in_one(flow, lacks)
    for one in lacks:
        flow.repeat(*one)
    await _settled(flow, "all samples were sent again")


async def _all_in_one(flow: NodeFlow, lacks: Sequence[tuple[int, int]]) -> None:
    """Hear lists until one names all that lacks.  None names anything else, and the last is no shorter.

    A list that set out before the last gap could be noticed names those before it.
    """
    line, lacking = flow.line, _numbers(lacks)
    end_us, took = line.now_us + 2 * LATEST_US + 2 * line.setting.patience_us, None
    while (now := await flow.run(end_us - line.now_us, until=(Kind.AGAIN,))) is not None:
        took, asked = now, _numbers(ranges_of(now.frame))
        if asked == lacking:
            return
        if not asked < lacking:
            break
    _lists(took, lacks, line)


def _numbers(ranges: Collection[tuple[int, int]]) -> set[int]:
    """The samples of some ranges."""
    return {number for first, count in ranges for number in range(first, first + count)}


@case("2; 6; 9")
async def more_gaps_than_a_list_takes_are_asked_for_in_turn(line: Line) -> None:
    """With more gaps than ranges in a list none that does not lack is named; in the end all are asked for."""
    flow = await _short_frames(line, 1).flowing()
    lacks = {}
    for _ in range(MAX_RANGES + 4):
        first, count = flow.skip()
        lacks[first] = count
        flow.send_next()
    await _answered(line, flow, lacks)
    await _settled(flow, "all samples were sent again")


async def _answered(line: Line, flow: NodeFlow, lacks: dict[int, int]) -> None:
    """Repeat what is asked for, list by list, until nothing lacks."""
    had: set[int] = set()
    end_us = line.now_us + 8 * LATEST_US
    while len(had) < len(lacks):
        took = await flow.run(LATEST_US + 2 * line.setting.patience_us, until=(Kind.AGAIN,))
        if took is None or line.now_us > end_us:
            raise Differs(f"it does not ask for {len(lacks) - len(had)} gaps", line.newest)
        for first, count in ranges_of(took.frame):
            if lacks.get(first) != count:
                raise Differs(f"it asks again for {listed([(first, count)])}, which does not lack", took.at)
            if first not in had:
                flow.repeat(first, count)
                await line.pause(REPEAT_SPACING_US)
            had.add(first)
        await flow.run(2 * line.setting.patience_us)


@case("6")
async def an_echo_tells_of_samples_that_never_came(line: Line) -> None:
    """A host that learns from an echo that more was sent than it has asks for it."""
    flow = await _short_frames(line).flowing()
    await flow.run(flow.frame_us)
    lacks = flow.skip()
    why = "an echo named a next sample behind them"
    beat = await flow.wait(Kind.BEAT, min(flow.beat_us, flow.liveness_us // 2) + AT_ONCE_US, "it is quiet")
    flow.control(flow.echo_of(beat.frame))
    took = await flow.wait(Kind.AGAIN, AGAIN_GRACE_US + AT_ONCE_US, why, echoes=True)
    _lists(took, (lacks,), line)


@case("6")
async def a_repeat_that_is_not_wholly_lacking_is_not_taken(line: Line) -> None:
    """Samples that are partly had already are not taken: the gap is asked for again as it was."""
    flow = await _short_frames(line).flowing()
    if flow.k < 2:
        raise NotReached("it wants one sample a frame: no repeat can overlap what it has")
    flow.send_next()
    first, count = flow.skip()
    await flow.asked((first, count))
    line.send(flow.samples(first - flow.k // 2, Kind.REPEAT, flow.k))
    took = await flow.run(LATEST_US + 2 * line.setting.patience_us, until=(Kind.AGAIN,))
    _lists(took, ((first, count),), line)
    flow.repeat(first, count)
    await _settled(flow, "all samples were sent again")


@case("6")
async def a_flow_begins_where_its_accept_says(line: Line) -> None:
    """Samples from the one that accept names up to the first frame lack, and are asked for."""
    flow = await _short_frames(line).pair(next_sample=4_000)
    await flow.asked(flow.skip(), why="accept names the first sample of the flow", echoes=False)
