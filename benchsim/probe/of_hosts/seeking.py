"""Seeking: how a host looks for its nodes, and whom it takes (section 4, steps 1 to 3)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.probe.as_node import as_node, must_say
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line


@case("4, step 1")
async def the_same_seek_is_sent_at_each_try(line: Line) -> None:
    """A host that hears nothing repeats its seek octet by octet, then says that nobody is there."""
    node = as_node(line)
    first = await node.sought()
    assert isinstance(first.message, frames.Seek)
    window_us = first.message.offer_window_us
    tries = 1
    while (again := await node.seek(2 * window_us)) is not None:
        tries += 1
        if again.header.session == first.header.session and again.body != first.body:
            raise Differs("a seek of the same exchange with other octets")
        if tries > 50:
            break
    if tries < 2:
        raise Differs("it seeks only once", line.newest)
    await must_say(line, "failed: nobody there", "lost", "seek")


@case("4, steps 1 to 5")
async def a_right_node_is_paired_and_flows(line: Line) -> None:
    """A host pairs with a node that does everything right, and beats at once and three times soon after."""
    flow = await as_node(line).pair()
    await flow.run(1_000_000)
    beats = [f for f in flow.heard if f.header.kind == Kind.BEAT]
    if len(beats) < 2:
        raise Differs("no beats in the first second of a flow", line.newest)
    await must_say(line, "flow")
