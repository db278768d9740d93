"""Release: a node that is let go (section 7, node steps)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.probe.as_host import AT_ONCE_US, Flow, as_host, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name

T_US = 0x0102_0304_0506_0708


async def released(line: Line) -> Flow:
    """A session that was just released; what was still on its way is passed over."""
    await unbound(line)
    flow = await as_host(line).pair()
    await flow.data()
    flow.control(frames.Release(T_US))
    await flow.expect(Kind.RELEASED, AT_ONCE_US, "it was asked to release")
    await line.pause(line.setting.patience_us)
    line.forget()
    return flow


@case("2, released; 7")
async def release_is_confirmed(line: Line) -> None:
    """A release is answered at once by released, with the time that it carries."""
    await unbound(line)
    flow = await as_host(line).pair()
    await flow.data()
    flow.control(frames.Release(T_US))
    said = (await flow.expect(Kind.RELEASED, AT_ONCE_US, "it was asked to release")).message
    assert isinstance(said, frames.Released)
    if said.host_t_us != T_US:
        raise Differs(f"released says {said.host_t_us}; release said {T_US}")


@case("7")
async def released_node_is_silent(line: Line) -> None:
    """A node that was released sends no more data, and answers no beat, again or resume of that session."""
    flow = await released(line)
    flow.control(frames.Beat(1))
    flow.control(frames.Again(((flow.accept.next_sample, 1),)))
    line.send(flow.session.resume_frame(frames.Resume(1, bytes(16))))
    wrong = (Kind.DATA, Kind.ECHO, Kind.REPEAT, Kind.GONE, Kind.RESUMED)
    await flow.silence(wrong, flow.way_us + 2 * flow.frame_us, "it was released")


@case("7")
async def release_sent_again_is_confirmed_again(line: Line) -> None:
    """A release that is sent again, since its answer was lost, is confirmed again; nothing else is said."""
    flow = await released(line)
    for again in (1, 2):
        flow.control(frames.Release(T_US + again))
        said = (await flow.expect(Kind.RELEASED, AT_ONCE_US, "release was sent again")).message
        assert isinstance(said, frames.Released)
        if said.host_t_us != T_US + again:
            raise Differs(f"released says {said.host_t_us}; release said {T_US + again}")
    for frame in await flow.heard(2 * flow.frame_us):
        raise Differs(f"it said {name(frame)} after it was released")


@case("4, node steps")
async def released_node_pairs_anew(line: Line) -> None:
    """A node that was released can be paired again, and flows in a session of its own."""
    old = await released(line)
    flow = await old.host.pair("it was released")
    await flow.data("it was paired anew")
    await flow.echo("it was paired anew")
    t_us = old.beat()
    for frame in await flow.heard(flow.way_us):
        if isinstance(frame.message, frames.Echo) and frame.message.host_t_us == t_us:
            raise Differs("it answers in the session that was released")
    await flow.release()
