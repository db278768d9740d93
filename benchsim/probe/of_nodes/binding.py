"""Bound to one host, through loss of power, until released or recommissioned (section 4, steps 2 and 5)."""

from __future__ import annotations

from benchsim.link.frames import RefuseReason
from benchsim.probe.as_host import AsHost, another_host, as_host, restarted, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line


async def must_be_bound(other: AsHost) -> None:
    """A seek of another host is refused.  Raises Differs."""
    exchange = other.exchange()
    other.line.send(exchange.seek_frame)
    refuse = await other.refused(exchange, RefuseReason.BOUND, other.window_us)
    if refuse.network != other.line.setting.network:
        raise Differs(f"it names network {refuse.network} as its own; it is {other.line.setting.network}")


@case("4, steps 2 and 5")
async def bound_node_refuses_another_host(line: Line) -> None:
    """From its accept on a node refuses every other host with bound, and goes on flowing."""
    await unbound(line)
    flow = await as_host(line).pair()
    await must_be_bound(another_host(line))
    await flow.data("another host sought it")
    await flow.echo("another host sought it")
    await flow.release()


@case("4, steps 2 and 5")
async def bound_node_pairs_anew_with_its_host(line: Line) -> None:
    """A bound node offers to the host that it is bound to, and flows in the new session."""
    await unbound(line)
    host = as_host(line)
    await (await host.pair()).data()
    flow = await host.pair("it is bound to this host")
    await flow.data("its host has paired anew")
    await flow.release()


@case("4, step 5")
async def binding_is_kept_without_power(line: Line) -> None:
    """A node that had no power is still bound to its host: others are refused, its host is offered to."""
    await unbound(line)
    host = as_host(line)
    await host.pair()
    await restarted(line)
    await must_be_bound(another_host(line))
    flow = await host.pair("it is bound to this host, through loss of power too")
    await flow.release()


@case("4, step 5; 7")
async def binding_ends_with_release(line: Line) -> None:
    """A node that was released offers to another host and flows for it."""
    await unbound(line)
    await (await as_host(line).pair()).release()
    flow = await another_host(line).pair("its host has released it")
    await flow.data()
    await flow.release()


@case("4, step 5")
async def binding_ends_with_recommissioning(line: Line) -> None:
    """A node that is recommissioned forgets host and session: it stops, and offers to another host."""
    await unbound(line)
    flow = await as_host(line).pair()
    await flow.data()
    await line.ask(f"recommission {line.address}")
    await line.pause(2 * line.setting.patience_us)
    line.forget()
    flow.beat()
    said = await flow.heard(2 * flow.frame_us + flow.way_us)
    if said:
        raise Differs("it goes on in its session, though it was recommissioned")
    new = await another_host(line).pair("it was recommissioned")
    await new.release()
