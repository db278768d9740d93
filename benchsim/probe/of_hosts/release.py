"""Release: how a host lets a node go (section 7)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind, RefuseReason
from benchsim.link.limits import TAG_OCTETS
from benchsim.probe.as_node import (
    OF_HOST,
    OTHER_SERIAL,
    QUIET_US,
    SEEKS_BY_ITSELF_US,
    AsNode,
    as_node,
    several_tries,
    time_to_answer,
    window_us,
)
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import SOON, Line
from benchsim.probe.node_flow import AT_ONCE_US, NodeFlow, Took


async def _asked(line: Line, flow: NodeFlow) -> Took:
    """Have the host release, and hear it.  Whoever asks may be slow: a host that is lost by then resumes."""
    line.forget()
    soon = await line.ask(f"release {line.address}") == SOON
    waits_us = line.setting.settings.answer_timeout_us + AT_ONCE_US + 2 * line.setting.patience_us
    end_us = line.now_us + (SEEKS_BY_ITSELF_US if soon else waits_us)
    while (left_us := end_us - line.now_us) > 0:
        took = await flow.run(left_us, until=(Kind.RELEASE, Kind.RESUME))
        if took is None:
            break
        if took.frame.header.kind == Kind.RELEASE:
            return took
        if took.t_us > line.now_us - AT_ONCE_US:  # an answer to an older one would be late
            flow.take_up(took.frame)
            end_us = max(end_us, line.now_us + waits_us)
    if soon:
        raise NotReached("the host was not asked to release")
    raise Differs("asked to release, it says no release", line.newest)


def _never_lost(flow: NodeFlow) -> None:
    """Raises NotReached for a flow that was lost meanwhile: its resumes were tries too."""
    if flow.those(Kind.RESUME):
        raise NotReached("the address was lost before word came that the host was asked to release")


def _released(flow: NodeFlow, release: Took) -> bytes:
    said = release.frame.message
    assert isinstance(said, frames.Release)
    return flow.session.control_frame(frames.Released(said.host_t_us))


async def _over(node: AsNode, flow: NodeFlow) -> None:
    """Nothing of the flow goes on: data are not answered, no beat comes."""
    line = node.line
    await line.pause(2 * line.setting.patience_us)
    line.forget()
    flow.skip()
    flow.send_next()
    await node.silent(min(flow.beat_us, flow.liveness_us) + QUIET_US, "the node was let go")
    await node.says("released")


@case("7")
async def a_released_node_is_let_go(line: Line) -> None:
    """A host that is asked to release does so under its tag; after released nothing more is said."""
    node = as_node(line, most_samples_per_frame=4)
    flow = await node.flowing()
    line.send(_released(flow, await _asked(line, flow)))
    await _over(node, flow)


@case("7; 8")
async def a_release_is_repeated_until_it_is_answered(line: Line) -> None:
    """Without an answer release is said again at each answer timeout, each with a sequence of its own."""
    node, settings = as_node(line, most_samples_per_frame=4), line.setting.settings
    flow = await node.flowing()
    several_tries(line)
    first = await _asked(line, flow)
    _never_lost(flow)
    again = await flow.wait(Kind.RELEASE, settings.answer_timeout_us + AT_ONCE_US, "nothing was answered")
    if again.t_us - first.t_us < settings.answer_timeout_us - line.setting.patience_us:
        raise Differs("it repeats release before the answer timeout", again.at)
    line.send(_released(flow, again))
    await _over(node, flow)


@case("7; 8")
async def a_release_that_is_not_answered_times_out(line: Line) -> None:
    """After its last try a host gives up: timed out, and nothing more is said."""
    node, settings = as_node(line, most_samples_per_frame=4), line.setting.settings
    flow = await node.flowing()
    await _asked(line, flow)
    _never_lost(flow)
    for _ in range(settings.tries - 1):
        within_us = settings.answer_timeout_us + AT_ONCE_US
        await flow.wait(Kind.RELEASE, within_us, "the last one was not answered")
    await node.given_up("failed: timed out", within_us=settings.answer_timeout_us)


@case("7; 3, row 7")
async def a_released_with_a_wrong_tag_is_dropped(line: Line) -> None:
    """A forged released does not end the release: it is said again."""
    several_tries(line)
    node, settings = as_node(line, most_samples_per_frame=4), line.setting.settings
    flow = await node.flowing()
    first = await _asked(line, flow)
    said = first.frame.message
    assert isinstance(said, frames.Release)
    forged = frames.Released(said.host_t_us)
    line.send(flow.sealed(forged, tag=lambda _body: bytes(TAG_OCTETS)))
    line.send(flow.sealed(forged, tag=flow.session.into.tag))
    within_us = settings.answer_timeout_us + AT_ONCE_US
    again = await flow.wait(Kind.RELEASE, within_us, "no released had a right tag")
    line.send(_released(flow, again))
    await _over(node, flow)


@case("7")
async def nothing_is_asked_for_while_a_node_is_released(line: Line) -> None:
    """While a release is under way no data are taken, so nothing that lacks is asked for."""
    node = as_node(line, most_samples_per_frame=4)
    flow = await node.flowing()
    time_to_answer(line, flow.asks_within_us, tries=True)
    release = await _asked(line, flow)
    flow.skip(2)
    flow.send_next()
    await node.silent(flow.asks_within_us, "no data are taken during a release", (Kind.AGAIN, Kind.RESUME))
    line.send(_released(flow, release))
    await _over(node, flow)


@case("7; 5")
async def a_lost_node_is_resumed_before_it_is_released(line: Line) -> None:
    """Out of lost a host resumes first, and releases under the keys of the new epoch."""
    node = as_node(line, most_samples_per_frame=4)
    flow = await node.flowing()
    await flow.lost()
    if await line.ask(f"release {line.address}") == SOON:
        raise NotReached("a program has to attend the host: it is to be asked now")
    line.forget()
    within_us = line.setting.settings.answer_timeout_us + AT_ONCE_US
    resume = await flow.wait(Kind.RESUME, within_us, "the node may be an epoch ahead", never=(Kind.RELEASE,))
    flow.take_up(resume.frame)
    release = await flow.wait(Kind.RELEASE, AT_ONCE_US, "the node has resumed")
    line.send(_released(flow, release))
    await _over(node, flow)


@case("7")
async def without_a_session_nothing_is_asked(line: Line) -> None:
    """Asked to release an address without a session, a host counts it as released and says nothing."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.refuse(seek.header, RefuseReason.BOUND)
    await node.silent(span_us, "the node has refused")
    await line.ask(f"release {line.address}")
    await node.silent(QUIET_US, "there is no session", OF_HOST)
    await node.says("released")


@case("4, steps of a host; 7")
async def asked_to_release_while_it_seeks_it_stops(line: Line) -> None:
    """A host that is asked to release an address that it seeks stops seeking, and counts it as released."""
    node = as_node(line)
    span_us = window_us(line, await node.sought())
    if await line.ask(f"release {line.address}") == SOON:
        raise NotReached("a program has to attend the host: it is to be asked now")
    await line.pause(2 * line.setting.patience_us)
    line.forget()
    await node.silent(2 * span_us, "it was asked to release")
    await node.says("released")


@case("4, steps of a host; 7")
async def asked_to_pair_while_it_releases_it_begins_anew(line: Line) -> None:
    """A host that is asked to pair while a release is not answered yet lets the release be, and pairs."""
    node = as_node(line, most_samples_per_frame=4)
    flow = await node.flowing()
    release = await _asked(line, flow)
    seek = await node.sought(asked=True)
    line.send(_released(flow, release))
    anew = await node.pair(seek=seek)
    await anew.clean("it has paired anew")
    await anew.asked(anew.skip(), why="the new session is watched")


@case("4, steps of a host; 7")
async def a_released_address_can_be_paired_again(line: Line) -> None:
    """After a release another node is paired at the same address when somebody asks for it."""
    node = as_node(line, most_samples_per_frame=4)
    flow = await node.flowing()
    line.send(_released(flow, await _asked(line, flow)))
    await line.pause(2 * line.setting.patience_us)
    other = as_node(line, serial=OTHER_SERIAL)
    anew = await other.pair()
    await anew.clean("another node flows")
    await other.says("flow")
