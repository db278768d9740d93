"""Several addresses: each pairs, flows and fails by itself on the same medium (section 4)."""

from __future__ import annotations

from dataclasses import replace

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind, RefuseReason
from benchsim.probe.as_node import AsNode, as_node
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import SOON, Line
from benchsim.probe.node_flow import AT_ONCE_US, BEATS_ONLY, NodeFlow, together

# Two acts, one after the other, may take so long where both are to work at once.
AT_ONCE_SAID_US = 250_000


def _nodes(line: Line) -> tuple[AsNode, AsNode]:
    first, second = (as_node(line, a, most_samples_per_frame=4) for a in line.setting.addresses[:2])
    return first, second


def _not_slowly(line: Line, began_us: int, *answers: str | None) -> None:
    """Raises NotReached when an act took so long that an address has got on meanwhile."""
    if line.now_us - began_us > AT_ONCE_SAID_US or SOON in answers:
        raise NotReached("what was asked for at the host took too long: a program has to attend it")


async def _both_sought(line: Line, nodes: tuple[AsNode, AsNode]) -> tuple[Frame, Frame]:
    """Have the host pair both addresses, and hear a seek for each.  Raises NotReached, Differs."""
    line.forget()
    began_us = line.now_us
    answers = [await line.tell(f"pair {n.card.strap}") for n in nodes]
    _not_slowly(line, began_us, *answers)
    attended = [answer is not None for answer in answers]
    seeks: dict[int, Frame] = {}
    end_us = line.now_us + (SECOND_US if all(attended) else 10 * SECOND_US)
    while len(seeks) < 2 and (frame := await line.hear(end_us - line.now_us)) is not None:
        if frame.header.kind == Kind.SEEK:
            seeks.setdefault(frame.header.address, frame)
    missing = [n.card.strap for n in nodes if n.card.strap not in seeks]
    if missing and not all(attended):
        raise NotReached(f"the host does not seek address {missing[0]}: ask it to pair")
    if missing:
        raise Differs(f"asked to pair, it does not seek address {missing[0]}", line.newest)
    first, second = (seeks[n.card.strap] for n in nodes)
    return first, second


async def _both_flow(line: Line) -> tuple[tuple[AsNode, AsNode], tuple[NodeFlow, NodeFlow]]:
    """Pair both at once: offers, proves and accepts cross each other."""
    nodes = _nodes(line)
    seeks = await _both_sought(line, nodes)
    exchanges = {n.card.strap: (n, n.offer(seek)) for n, seek in zip(nodes, seeks, strict=True)}
    flows: dict[int, NodeFlow] = {}
    end_us = line.now_us + 2 * max(e.seek.offer_window_us for _, e in exchanges.values())
    end_us += 2 * line.setting.patience_us
    while len(flows) < 2 and (frame := await line.hear(end_us - line.now_us)) is not None:
        node, exchange = exchanges.get(frame.header.address, (None, None))
        if node is None or exchange is None or not isinstance(frame.message, frames.Prove):
            continue
        if frame.header.address in flows or frame.header.session != exchange.number:
            continue
        session = exchange.proven(frame, frame.message, 0)
        if session is None:
            raise Differs(f"the proof of its prove to address {node.card.strap} is wrong")
        flows[node.card.strap] = node.accept(exchange, session)
    if len(flows) < 2:
        raise Differs("it does not pair both addresses that were asked for", line.newest)
    first, second = (flows[n.card.strap] for n in nodes)
    await together((first, second), 200_000 + line.setting.patience_us)
    return nodes, (first, second)


@case("4", needs=2)
async def two_addresses_pair_at_once(line: Line) -> None:
    """Two addresses are paired side by side, each with a session number and a public value of its own."""
    _, flows = await _both_flow(line)
    if flows[0].session.number == flows[1].session.number:
        raise Differs("one session number for two addresses")
    if flows[0].exchange.seek.public == flows[1].exchange.seek.public:
        raise Differs("one public value for two addresses")
    await together(flows, 400_000, only=BEATS_ONLY, why="nothing lacks at either address")
    for flow in flows:
        if not flow.those(Kind.BEAT):
            raise Differs(f"no beat to address {flow.card.strap}", line.newest)


@case("4", needs=2)
async def one_address_fails_while_the_other_flows(line: Line) -> None:
    """When one address is refused the other pairs and flows all the same."""
    first, second = _nodes(line)
    seeks = await _both_sought(line, (first, second))
    second.refuse(seeks[1].header, RefuseReason.BOUND)
    flow = await first.pair(seek=seeks[0])
    await flow.clean("the other address has failed, not this one")
    if not flow.those(Kind.BEAT):
        raise Differs(f"no beat to address {first.card.strap}: it does not flow", line.newest)
    await first.says("flow")
    await second.says("failed: bound to another host")


@case("3, row 2; 4", needs=2)
async def frames_of_one_address_move_no_other(line: Line) -> None:
    """Frames of one address's session that name the other address are dropped at both."""
    _, flows = await _both_flow(line)
    one, other = flows
    ahead = max(one.next, other.next) + 10 * one.k
    for bad in (
        one.made(ahead, address=other.card.strap),
        one.made(ahead, address=other.card.strap, session=other.session.number),
        one.sealed(frames.Released(line.now_us), address=other.card.strap),
    ):
        line.send(bad)
    why = "the frame was of no session here"
    await together(flows, one.asks_within_us + 100_000, only=BEATS_ONLY, why=why)


@case("3, row 5; 4", needs=2)
async def an_offer_to_one_address_counts_at_no_other(line: Line) -> None:
    """What answers the seek of one address is no answer at the other."""
    first, second = _nodes(line)
    seeks = await _both_sought(line, (first, second))
    offer = codec.read(first.exchange(seeks[0]).offer_frame)
    assert isinstance(offer, Frame)
    astray = replace(offer.header, address=second.card.strap)
    line.send(codec.seal(codec.body_of(astray, offer.message)))
    flow = await second.pair(seek=seeks[1])
    await flow.clean("only one node has offered here")


@case("4; 7", needs=2)
async def one_address_is_lost_while_the_other_flows(line: Line) -> None:
    """A node that falls silent is resumed; the other flows on without a gap, and the first comes back."""
    nodes, (one, other) = await _both_flow(line)
    await other.run(one.liveness_us + AT_ONCE_US, only=BEATS_ONLY, why="nothing lacks here")
    resume = None
    end_us = line.now_us + line.setting.settings.answer_timeout_us + AT_ONCE_US + 2 * line.setting.patience_us
    while resume is None and line.now_us < end_us:
        other.keep_pace()
        frame = await line.hear(max(0, other.next_us - line.now_us))
        if frame is None:
            continue
        took = one.take(frame) or other.take(frame)
        if took is not None and frame.header.kind == Kind.RESUME and took in one.heard:
            resume = took
    if resume is None:
        raise Differs(f"it does not resume address {one.card.strap}", line.newest)
    one.take_up(resume.frame)
    await together((one, other), 300_000, only=BEATS_ONLY, why="nothing lacks at either address")
    await nodes[0].says("flow")
    await nodes[1].says("flow")


@case("4; 7", needs=2)
async def one_address_is_let_go_while_the_other_flows(line: Line) -> None:
    """Releasing one node leaves the other as it is."""
    nodes, (one, other) = await _both_flow(line)
    line.forget()
    began_us = line.now_us
    _not_slowly(line, began_us, await line.ask(f"release {one.card.strap}"))
    release = await one.wait(Kind.RELEASE, AT_ONCE_US, "it was asked to release")
    said = release.frame.message
    assert isinstance(said, frames.Release)
    one.control(frames.Released(said.host_t_us))
    await other.run(2 * line.setting.patience_us, only=BEATS_ONLY, why="only the other was let go")
    await other.clean("only the other was let go")
    await other.alive("only the other was let go")
    await nodes[1].says("flow")
