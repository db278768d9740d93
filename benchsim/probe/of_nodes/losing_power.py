"""What loss of power leaves of a node: its binding and nothing else (sections 4, 5 and 10)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import RefuseReason
from benchsim.probe.as_host import AT_ONCE_US, as_host, first_of, restarted, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name
from benchsim.probe.of_nodes.resuming import must_be_refused


@case("4, node steps; 5")
async def session_is_gone_without_power(line: Line) -> None:
    """A node that had no power says nothing by itself, answers no beat and refuses resume with no session."""
    await unbound(line)
    flow = await as_host(line).pair()
    await flow.data()
    await restarted(line)
    flow.beat()
    for frame in await flow.heard(flow.way_us + 2 * flow.frame_us):
        raise Differs(f"it said {name(frame)}, though it had no power since it was paired")
    line.send(flow.session.resume_frame(frames.Resume(1, bytes(16))))
    await must_be_refused(flow, flow.session.number)
    await (await flow.host.pair()).release()


@case("4, step 5; 6")
async def flow_begins_anew_after_power_up(line: Line) -> None:
    """A node that had no power pairs again with its host and flows from where its new accept says."""
    await unbound(line)
    host = as_host(line)
    await (await host.pair()).data()
    await restarted(line)
    flow = await host.pair("it is bound to this host, through loss of power too")
    first = first_of(await flow.data())
    if first != flow.accept.next_sample or first % flow.k:
        raise Differs(f"the flow begins at sample {first}; accept said {flow.accept.next_sample}")
    await flow.echo()
    await flow.release()


@case("4, step 2")
async def bound_node_without_a_session_minds_no_neighbour(line: Line) -> None:
    """A node that had no power is bound still: it says nothing to a seek of another network."""
    await unbound(line)
    host = as_host(line)
    await host.pair()
    await restarted(line)
    other = as_host(line, network=line.setting.network ^ 0x0100)
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.unanswered(sought, other.window_us, "it is bound to a host of its own network")
    await (await host.pair()).release()


@case("4, step 4")
async def exchange_is_gone_without_power(line: Line) -> None:
    """A node that lost power after its offer refuses the prove to it with no session."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    prove = host.proof(exchange, await host.offer(exchange))
    await restarted(line)
    line.send(prove)
    await host.refused(exchange, RefuseReason.NO_SESSION, AT_ONCE_US)


@case("10, randomness")
async def public_value_is_new_after_power_up(line: Line) -> None:
    """A node never has a public value again after a restart, not even for the same seek."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    had: set[bytes] = set()
    for _ in range(3):
        await restarted(line)
        offer = (await host.offer(exchange)).message
        assert isinstance(offer, frames.Offer)
        if offer.public in had:
            raise Differs("the public value that it had before it lost power")
        had.add(offer.public)
