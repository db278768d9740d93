"""Trials: what of a first pairing counts when a host judges its link (section 4, step 6)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind, RefuseReason
from benchsim.probe.as_node import AsNode, as_node
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line
from benchsim.probe.node_flow import AT_ONCE_US, NodeFlow, ranges_of


@case("4, step 6")
async def a_trial_with_too_little_at_first_sending_fails(line: Line) -> None:
    """When most samples of a first pairing do not come, the flow is ended: the link is too poor."""
    node = as_node(line, most_samples_per_frame=5)
    flow = await node.pair()
    flow.comes = lambda number: number % 3 == 0
    await flow.run(flow.trial_us + 6 * flow.frame_us + 2 * line.setting.patience_us)
    line.forget()
    await node.given_up("failed: link too poor")


@case("4, step 6")
async def a_trial_with_enough_at_first_sending_is_passed(line: Line) -> None:
    """When two of three samples of a first pairing come, the flow goes on."""
    node = as_node(line, most_samples_per_frame=5)
    flow = await node.pair()
    flow.comes = lambda number: number % 3 > 0
    await flow.run(flow.trial_us + 6 * flow.frame_us)
    flow.comes = None
    await flow.alive("most samples of the trial came")
    await node.says("flow")


@case("4, step 6")
async def what_is_repeated_does_not_help_a_trial(line: Line) -> None:
    """When most samples come only in repeats the link is too poor, though in the end nothing lacks."""
    node = as_node(line, most_samples_per_frame=5)
    flow = await node.pair()
    flow.comes = lambda number: number % 3 == 0
    end_us = line.now_us + flow.trial_us + 6 * flow.frame_us + 2 * line.setting.patience_us
    while (again := await flow.run(end_us - line.now_us, until=(Kind.AGAIN,))) is not None:
        for one in ranges_of(again.frame):
            flow.repeat(*one)
    line.forget()
    await node.given_up("failed: link too poor")


@case("4, step 6")
async def what_was_sent_in_a_silence_is_not_on_trial(line: Line) -> None:
    """Samples that a host first hears of from a resumed do not count against the link: the flow goes on."""
    node = as_node(line, most_samples_per_frame=5)
    flow = await node.pair()
    await flow.run(flow.trial_us // 4)
    resume = await flow.lost()
    lacks = flow.skip(flow.trial_us // flow.frame_us)
    flow.take_up(resume.frame)
    took = await flow.run(flow.asks_within_us + 2 * flow.frame_us, until=(Kind.AGAIN,))
    if took is not None:
        flow.control(frames.Gone((lacks,)))
    await flow.run(flow.trial_us + 6 * flow.frame_us)
    await _flows(node, flow, "all that was sent while it heard came")


@case("4, step 6")
async def a_pairing_that_nobody_asked_for_is_not_on_trial(line: Line) -> None:
    """A host that has paired anew by itself after a silence goes on with a flow of which most is lost."""
    node = as_node(line, most_samples_per_frame=5)
    resume = await (await node.flowing()).lost()
    node.refuse(resume.frame.header, RefuseReason.NO_SESSION)
    seek = await node.seek(AT_ONCE_US)
    if seek is None:
        raise Differs("it does not seek though the node has no session", line.newest)
    flow = await node.pair(seek=seek)
    flow.comes = lambda number: number % 3 == 0
    await flow.run(flow.trial_us + 6 * flow.frame_us)
    flow.comes = None
    await _flows(node, flow, "a pairing that nobody asked for is not on trial")


async def _flows(node: AsNode, flow: NodeFlow, why: str) -> None:
    """The host still watches this flow.  Raises Differs."""
    await flow.run(2 * flow.line.setting.patience_us)
    await flow.alive(why)
    await node.says("flow")
