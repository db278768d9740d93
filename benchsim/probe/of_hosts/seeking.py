"""Seeking: how a host looks for its nodes, and whom it hears (section 4, steps 1 and 2)."""

from __future__ import annotations

from dataclasses import replace

from benchsim.ground.clock import seconds
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind
from benchsim.probe.as_node import SEEKS_BY_ITSELF_US, as_node, several_tries, window_us
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line
from benchsim.probe.node_flow import AT_ONCE_US


def _sought_with(seek: Frame) -> frames.Seek:
    assert isinstance(seek.message, frames.Seek)
    return seek.message


@case("4, step 1; 8")
async def the_same_seek_is_sent_at_each_try(line: Line) -> None:
    """A host that hears nothing repeats its seek octet by octet after each window, then gives up."""
    node = as_node(line)
    first = await node.sought()
    span_us, heard_us = _sought_with(first).offer_window_us, line.now_us
    tries = 1 + node.passed_over
    while (again := await node.seek(span_us)) is not None:
        tries += 1
        if again.body != first.body:
            raise Differs("it seeks with other octets at another try")
        waited_us = line.now_us - heard_us
        if waited_us < span_us - line.setting.patience_us:
            raise Differs(f"it seeks again after {seconds(waited_us)}; its window: {seconds(span_us)}")
        heard_us = line.now_us
        if tries > line.setting.settings.tries:
            raise Differs(f"it seeks more than {tries - 1} times")
    if tries < line.setting.settings.tries:
        raise Differs(f"it gives up after {tries} of {line.setting.settings.tries} tries", line.newest)
    await node.given_up("failed: nobody there")


@case("1; 2; 4, step 1")
async def a_seek_says_what_the_host_speaks_and_wants(line: Line) -> None:
    """Every field of a seek is right: versions in order, cells as expected, a session number, sequence 0."""
    seek = await as_node(line).sought()
    header, said = seek.header, _sought_with(seek)
    if header.session == 0:
        raise Differs("it seeks with session 0")
    if header.sequence != 0:
        raise Differs(f"it seeks with sequence {header.sequence}; 0 is right before there is a session")
    if said.version_low > said.version_high or header.version != said.version_low:
        versions = f"{said.version_low} to {said.version_high}"
        raise Differs(f"it speaks versions {versions} in a frame of version {header.version}")
    if said.cells != line.setting.cells:
        raise Differs(f"it expects {said.cells} cells; it was told of {line.setting.cells}")


@case("2; 4, keys; 10")
async def each_exchange_has_a_number_and_a_public_value_of_its_own(line: Line) -> None:
    """A host draws session number and public value anew each time, and says the same host number."""
    node = as_node(line)
    seeks: list[Frame] = []
    for _ in range(3):
        seek: Frame | None = await node.sought(asked=True)
        within_us = SEEKS_BY_ITSELF_US if node.slow else 200_000
        while seek is not None and seeks and seek.body == seeks[-1].body:  # the one before is still under way
            seek = await node.seek(within_us)
        if seek is None and node.slow:
            raise NotReached("the host was not asked to pair again")
        if seek is None:
            raise Differs("asked to pair again, it seeks with the same octets", line.newest)
        seeks.append(seek)
    if len({s.header.session for s in seeks}) < len(seeks):
        raise Differs("two exchanges with the same session number")
    if len({_sought_with(s).public for s in seeks}) < len(seeks):
        raise Differs("two exchanges with the same public value")
    if len({_sought_with(s).host_id for s in seeks}) > 1:
        raise Differs("its host number is another each time")


@case("10")
async def after_a_restart_nothing_is_drawn_again(line: Line) -> None:
    """A host that has lost power draws other session numbers and public values than at its last start."""
    node = as_node(line)
    before = []
    for _ in range(2):
        await line.ask(f"restart {line.address}")
        seek = await node.sought()
        before.append((seek.header.session, _sought_with(seek).public))
    if before[0][0] == before[1][0] or before[0][1] == before[1][1]:
        raise Differs("it draws the same session number or public value after a restart")


@case("4, steps 1 to 5; 7")
async def a_right_node_is_paired_and_flows(line: Line) -> None:
    """A host pairs with a node that does everything right, beats, and asks for nothing."""
    node = as_node(line)
    flow = await node.pair()
    await flow.clean("nothing lacks", 600_000)
    if len(flow.those(Kind.BEAT)) < 2:
        raise Differs("no beats in the first half second of a flow", line.newest)
    await node.says("flow")


@case("4, steps 1 and 3")
async def the_window_is_kept_before_a_prove(line: Line) -> None:
    """A host collects offers up to the end of its window, however soon the first one comes."""
    node = as_node(line)
    seek = await node.sought()
    span_us, heard_us = window_us(line, seek), line.now_us
    exchange = node.offer(seek)
    if await node.prove(exchange) is None:
        raise Differs("no prove for a right offer", line.newest)
    if line.now_us - heard_us < span_us - line.setting.patience_us:
        raise Differs(f"it proves after {seconds(line.now_us - heard_us)}; its window: {seconds(span_us)}")


@case("4, step 1")
async def an_offer_to_the_last_try_is_taken(line: Line) -> None:
    """A node that is heard only at the last try is paired as one that is heard at the first."""
    node = as_node(line)
    seek = await node.sought()
    for _ in range(line.setting.settings.tries - 1 - node.passed_over):
        again = await node.seek(_sought_with(seek).offer_window_us)
        if again is None:
            raise Differs("it gives up before its last try", line.newest)
    window_us(line, seek)
    flow = await node.pair(seek=seek)
    await flow.clean("nothing lacks")
    if not flow.those(Kind.BEAT):
        raise Differs("no beat: it does not flow", line.newest)


@case("3; 4, step 3")
async def offers_of_other_exchanges_count_for_nothing(line: Line) -> None:
    """An offer of another session number, network or address is not answered; the right one still is."""
    node = as_node(line)
    seek = await node.sought()
    several_tries(line, node.passed_over)
    span_us, offer = window_us(line, seek), codec.read(node.exchange(seek).offer_frame)
    assert isinstance(offer, Frame)
    elsewhere = next(a for a in range(16, 0, -1) if a not in line.setting.addresses)
    for header in (
        replace(offer.header, session=offer.header.session ^ 1),
        replace(offer.header, network=offer.header.network ^ 1),
        replace(offer.header, address=elsewhere),
    ):
        line.send(codec.seal(codec.body_of(header, offer.message)))
    await node.silent(span_us, "no offer was for its seek", (Kind.PROVE,))
    await node.pair(seek=seek)


@case("3; 4, step 2")
async def an_offer_of_more_samples_a_frame_is_no_answer(line: Line) -> None:
    """A host drops an offer of more samples a frame than it asked for, and goes on seeking."""
    node = as_node(line)
    seek = await node.sought()
    several_tries(line, node.passed_over)
    said, span_us = _sought_with(seek), window_us(line, seek)
    if said.samples_per_frame >= 80:
        raise NotReached("it asks for 80 samples a frame: no offer can name more")
    more = replace(seek, message=replace(said, samples_per_frame=said.samples_per_frame + 1))
    node.offer(more)
    await node.silent(span_us, "the offer names more samples a frame than its seek", (Kind.PROVE,))
    await node.pair(seek=seek)


@case("4, step 2; 6")
async def an_offer_of_fewer_samples_a_frame_holds(line: Line) -> None:
    """A node may offer fewer samples a frame than the host asked for; its frames are then taken as agreed."""
    flow = await as_node(line, most_samples_per_frame=1).pair(next_sample=12_345)
    await flow.clean("all frames keep to the offer", 300_000)


@case("4, steps of a host")
async def asked_to_pair_while_it_proves_it_begins_anew(line: Line) -> None:
    """A host that is asked to pair while it waits for an accept lets that be, and pairs in a new exchange."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    await node.proven(exchange)
    seek = await node.sought(asked=True)
    if seek.header.session == exchange.number:
        raise Differs("it seeks with the session number of the exchange before")
    line.send(exchange.accept_frame)
    anew = await node.pair(seek=seek)
    await anew.wait(Kind.BEAT, AT_ONCE_US, "it was accepted in the new exchange")


@case("4, steps of a host")
async def asked_to_pair_while_it_flows_it_begins_anew(line: Line) -> None:
    """A host that is asked to pair while data flow seeks, lets the old session be, and pairs."""
    node = as_node(line)
    flow = await node.flowing()
    seek = await node.sought(asked=True)
    if seek.header.session == flow.session.number:
        raise Differs("it seeks with the session number of the flow")
    flow.send_next()
    anew = await node.pair(flow.next, seek)
    await anew.clean("nothing lacks in the new session")
