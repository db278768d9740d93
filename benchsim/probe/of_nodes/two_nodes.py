"""Two nodes on one medium: each hears the other and keeps to its own (sections 1 and 3)."""

from __future__ import annotations

from collections.abc import Iterable

from benchsim.link import frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind, RefuseReason
from benchsim.probe.as_host import AsHost, Flow, another_host, as_host, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line

TOGETHER_US = 300_000


async def hosts(line: Line) -> tuple[AsHost, AsHost]:
    """One host's seats at the first two addresses, whose nodes are bound to nobody."""
    one, two = line.setting.addresses[:2]
    await unbound(line, one)
    await unbound(line, two)
    return as_host(line, one), as_host(line, two)


async def both(flows: Iterable[Flow], for_us: int) -> dict[int, list[Frame]]:
    """What each says in so long a time, held against its session."""
    came: dict[int, list[Frame]] = {flow.host.address: [] for flow in flows}
    line = next(iter(flows)).line
    end_us = line.now_us + for_us
    while (frame := await line.hear(end_us - line.now_us)) is not None:
        for flow in flows:
            if flow.takes(frame):
                came[flow.host.address].append(frame)
    return came


def must_flow(flow: Flow, came: dict[int, list[Frame]], why: str) -> None:
    """Data came from this node.  Raises Differs."""
    if not any(frame.header.kind == Kind.DATA for frame in came[flow.host.address]):
        raise Differs(f"no data from address {flow.host.address}: {why}", flow.line.newest)


async def two_flows(line: Line) -> tuple[Flow, Flow]:
    """Both paired, one after the other."""
    host, other = await hosts(line)
    return await host.pair(), await other.pair()


def long_enough_us(*flows: Flow) -> int:
    """In so long a time each sends data, and has answered what it was asked."""
    return max(*(2 * flow.frame_us for flow in flows), TOGETHER_US) + flows[0].way_us


async def let_go(*flows: Flow) -> None:
    for flow in flows:
        await flow.release()


@case("4", needs=2)
async def two_nodes_pair_at_once(line: Line) -> None:
    """Two nodes that are sought and proven together both flow, each under its own serial number and keys."""
    seats = await hosts(line)
    exchanges = {host.address: host.exchange() for host in seats}
    for exchange in exchanges.values():
        line.send(exchange.seek_frame)
    heard = await answers(line, seats, Kind.OFFER, seats[0].window_us)
    for host in seats:
        line.send(host.proof(exchanges[host.address], heard[host.address]))
    said = await answers(line, seats, Kind.ACCEPT, seats[0].card.settings.answer_timeout_us)
    flows = [host.flow(exchanges[host.address], heard[host.address], said[host.address]) for host in seats]
    if flows[0].offer.serial == flows[1].offer.serial:
        raise Differs(f"two nodes of one serial number: {flows[0].offer.serial:#x}")
    for flow in flows:
        flow.beat()
    came = await both(flows, long_enough_us(*flows))
    for flow in flows:
        must_flow(flow, came, "it was paired together with another node")
        if not any(frame.header.kind == Kind.ECHO for frame in came[flow.host.address]):
            raise Differs(f"no echo from address {flow.host.address}", line.newest)
    await let_go(*flows)


async def answers(line: Line, seats: tuple[AsHost, AsHost], kind: Kind, within_us: int) -> dict[int, Frame]:
    """A frame of this kind from each address.  Raises Differs."""
    heard: dict[int, Frame] = {}
    end_us = line.now_us + within_us + 2 * line.setting.patience_us
    while len(heard) < len(seats) and (frame := await line.hear(end_us - line.now_us)) is not None:
        if frame.header.kind == kind and frame.header.address in {host.address for host in seats}:
            heard.setdefault(frame.header.address, frame)
    for host in seats:
        if host.address not in heard:
            raise Differs(f"no {kind.name.lower()} from address {host.address}", line.newest)
    return heard


@case("1; 3", needs=2)
async def each_node_keeps_to_its_own_frames(line: Line) -> None:
    """A beat is echoed by the node that it is for; one with the other node's address is echoed by none."""
    flow, other = await two_flows(line)
    mark = line.now_us
    flow.control(frames.Beat(mark + 1))
    line.send(flow.frame(frames.Beat(mark + 2), address=other.host.address))
    line.send(flow.frame(frames.Release(mark + 2), address=other.host.address))
    other.control(frames.Beat(mark + 3))
    came = await both((flow, other), long_enough_us(flow, other))
    for one, due in ((flow, mark + 1), (other, mark + 3)):
        echoed = [f.message.host_t_us for f in came[one.host.address] if isinstance(f.message, frames.Echo)]
        if echoed != [due]:
            raise Differs(f"address {one.host.address} echoes {echoed}; its beat said {due}", line.newest)
        must_flow(one, came, "no frame was for it but a beat")
    await let_go(flow, other)


@case("3; 5; 7", needs=2)
async def acts_on_one_node_leave_the_other_alone(line: Line) -> None:
    """While one node takes new keys and is released, the other goes on under the keys that it has."""
    flow, other = await two_flows(line)
    await flow.resume(1)
    other.beat()
    came = await both((flow, other), long_enough_us(flow, other))
    must_flow(flow, came, "it was resumed")
    must_flow(other, came, "the other node was resumed")
    await flow.release()
    t_us = other.beat()
    came = await both((other,), long_enough_us(flow, other))
    must_flow(other, came, "the other node was released")
    if not any(isinstance(f.message, frames.Echo) and f.message.host_t_us == t_us
               for f in came[other.host.address]):  # fmt: skip
        raise Differs(f"no echo from address {other.host.address}", line.newest)
    await let_go(other)


@case("4, steps 2 and 5", needs=2)
async def each_node_is_bound_by_itself(line: Line) -> None:
    """Of two nodes of one host the released one offers to another host, the other one refuses it."""
    flow, other = await two_flows(line)
    await flow.release()
    one, two = another_host(line, flow.host.address), another_host(line, other.host.address)
    exchange = two.exchange()
    line.send(exchange.seek_frame)
    refuse = await two.refused(exchange, RefuseReason.BOUND, two.window_us)
    if refuse.serial != other.offer.serial:
        raise Differs(f"it refuses as serial number {refuse.serial:#x}, not {other.offer.serial:#x}")
    free = await one.pair("its host has released it")
    await let_go(free, other)
