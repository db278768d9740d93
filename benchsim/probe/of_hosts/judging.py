"""Judging: whom a host does not take, why it says so, and that it pairs when all is put right (section 4)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind, RefuseReason
from benchsim.probe.as_node import OTHER_SERIAL, as_node, several_tries, time_to_answer, window_us
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line

TWO_NODES = "failed: two nodes on one address"


@case("4, step 3")
async def two_offers_in_one_window_are_two_nodes(line: Line) -> None:
    """Two serial numbers that offer in one window are told as two nodes on one address; nothing is proved."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    as_node(line, serial=OTHER_SERIAL).offer(seek)
    await node.given_up(TWO_NODES, within_us=span_us)


@case("4, step 3")
async def a_second_offer_late_in_the_window_is_noticed(line: Line) -> None:
    """A host that has one offer still notices a second that comes late in the same window."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    late_us = span_us - 2 * line.setting.patience_us - 10_000
    await node.silent(late_us - 2 * line.setting.patience_us, "its window is not over")
    as_node(line, serial=OTHER_SERIAL).offer(seek)
    await node.given_up(TWO_NODES, within_us=span_us - late_us)


@case("4, step 3")
async def an_offer_and_a_refusal_of_another_are_two_nodes(line: Line) -> None:
    """An offer of one serial number and a refusal of another in one window are two nodes on one address."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    as_node(line, serial=OTHER_SERIAL).refuse(seek.header, RefuseReason.BOUND)
    await node.given_up(TWO_NODES, within_us=span_us)


@case("4, step 4")
async def a_refusal_of_another_at_the_prove_is_two_nodes(line: Line) -> None:
    """Another node that refuses a prove which is not for it gives itself away: two nodes on one address."""
    node = as_node(line)
    prove, _ = await node.proven(node.exchange(await node.sought()))
    as_node(line, serial=OTHER_SERIAL).refuse(prove.header, RefuseReason.TWO_NODES)
    await node.given_up(TWO_NODES)


@case("4, step 4 and the steps of a host")
async def another_offer_at_the_prove_is_two_nodes(line: Line) -> None:
    """An offer of another serial number in the exchange that is being proved gives two nodes away."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    await node.proven(exchange)
    line.send(as_node(line, serial=OTHER_SERIAL).exchange_of(exchange).offer_frame)
    await node.given_up(TWO_NODES)


@case("4, steps 2 and 4")
async def the_same_offer_again_is_no_second_node(line: Line) -> None:
    """A node that says its offer twice is one node: a seek that was heard twice is answered twice."""
    node = as_node(line)
    seek = await node.sought()
    window_us(line, seek)
    exchange = node.offer(seek)
    _, session = await node.proven(exchange)
    line.send(exchange.offer_frame)
    flow = node.accept(exchange, session)
    line.send(exchange.offer_frame)
    await flow.clean("only one node has offered")
    await flow.asked(flow.skip(), why="the flow goes on")
    await node.says("flow")


@case("4, steps 2 to 4")
async def a_late_word_of_a_neighbour_does_not_hinder(line: Line) -> None:
    """A refusal for another network that comes only after the prove ends neither the pairing nor the flow."""
    node, stray = as_node(line), as_node(line, serial=OTHER_SERIAL)
    exchange = node.exchange(await node.sought())
    prove, session = await node.proven(exchange)
    stray.refuse(prove.header, RefuseReason.WRONG_NETWORK, network=line.setting.network ^ 1)
    flow = node.accept(exchange, session)
    stray.refuse(prove.header, RefuseReason.WRONG_NETWORK, network=line.setting.network ^ 1)
    await flow.clean("only a node of another network has refused")
    await flow.asked(flow.skip(), why="the flow goes on")
    await node.says("flow")


@case("4, after step 6")
async def another_offer_soon_after_the_accept_ends_the_flow(line: Line) -> None:
    """Up to one answer timeout after the accept an offer of another serial number is still two nodes."""
    node = as_node(line)
    time_to_answer(line, 2 * line.setting.patience_us)
    flow = await node.pair()
    await flow.wait(Kind.BEAT, 0, "the flow has begun")
    other = as_node(line, serial=OTHER_SERIAL)
    line.send(other.exchange_of(flow.exchange).offer_frame)
    await line.pause(2 * line.setting.patience_us)
    line.forget()
    await node.given_up(TWO_NODES)


@case("4, after step 6; 10")
async def another_offer_long_after_the_accept_ends_nothing(line: Line) -> None:
    """Later than one answer timeout after the accept no frame without a tag ends a flow."""
    node = as_node(line)
    flow = await node.pair()
    await flow.run(line.setting.settings.answer_timeout_us + 2 * line.setting.patience_us + 20_000)
    other = as_node(line, serial=OTHER_SERIAL)
    line.send(other.exchange_of(flow.exchange).offer_frame)
    for reason in (RefuseReason.TWO_NODES, RefuseReason.NO_SESSION, RefuseReason.WRONG_KEY):
        other.refuse(flow.session.header(Kind.BEAT, 0), reason)
        node.refuse(flow.session.header(Kind.BEAT, 0), reason)
    await flow.clean("frames without a tag end no flow")
    await flow.alive("frames without a tag end no flow")
    await node.says("flow")


@case("4, steps 2 and 3")
async def a_node_of_another_network_is_told(line: Line) -> None:
    """A host that hears only refusals for another network goes on seeking, and says so after its last try."""
    node = as_node(line)
    stray = as_node(line, serial=OTHER_SERIAL)
    seek = await node.sought()
    span_us = window_us(line, seek)
    for turn in range(1 + node.passed_over, line.setting.settings.tries + 1):
        stray.refuse(seek.header, RefuseReason.WRONG_NETWORK, network=line.setting.network ^ 1)
        again = await node.seek(span_us)
        if again is None and turn < line.setting.settings.tries:
            raise Differs("it does not seek on, though only another network answered", line.newest)
        if again is not None and turn == line.setting.settings.tries:
            raise Differs("it seeks more often than it has tries")
        seek = again or seek
    await node.given_up("failed: wrong network")


@case("4, steps 2 and 3")
async def a_neighbour_of_another_network_does_not_hinder(line: Line) -> None:
    """A refusal for another network beside a right offer changes nothing: the offer is proved."""
    node = as_node(line)
    seek = await node.sought()
    window_us(line, seek)
    as_node(line, serial=OTHER_SERIAL).refuse(
        seek.header, RefuseReason.WRONG_NETWORK, network=line.setting.network ^ 1
    )
    flow = await node.pair(seek=seek)
    await flow.clean("the flow has begun")
    await node.says("flow")


@case("4, steps 2 and 3")
async def a_node_bound_to_another_host_is_told(line: Line) -> None:
    """A node that refuses because it is bound is told as bound to another host."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.refuse(seek.header, RefuseReason.BOUND)
    await node.given_up("failed: bound to another host", within_us=span_us)


@case("4, steps 2 and 3")
async def a_node_without_a_common_version_is_told(line: Line) -> None:
    """A node that refuses for its version is told as unknown version."""
    node = as_node(line)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.refuse(seek.header, RefuseReason.VERSION, version_low=200, version_high=201)
    await node.given_up("failed: unknown version", within_us=span_us)


@case("4, step 3; 10")
async def an_offer_of_a_version_that_was_not_named_is_not_proved(line: Line) -> None:
    """A host does not prove itself to an offer of a version outside those that its seek named."""
    node = as_node(line)
    seek = await node.sought()
    said, span_us = seek.message, window_us(line, seek)
    assert isinstance(said, frames.Seek)
    if said.version_high == 255:
        raise NotReached("it speaks every version")
    node.offer(seek, version=said.version_high + 1)
    await node.given_up("failed: unknown version", within_us=span_us)


@case("4, step 3")
async def a_node_of_too_few_channels_is_told(line: Line) -> None:
    """A node with fewer channels than cells are expected at its address is not paired."""
    if line.setting.cells < 2:
        raise NotReached("it expects less than two cells an address: no node has fewer channels")
    node = as_node(line, channels=line.setting.cells - 1)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    await node.given_up("failed: fewer channels than cells", within_us=span_us)


@case("4, step 3", told="sealed")
async def another_fingerprint_than_the_sealed_one_is_told(line: Line) -> None:
    """A node whose calibration is not the one that was sealed is not paired, asked for or not."""
    sealed = line.setting.sealed
    assert sealed is not None
    node = as_node(line, fingerprint=bytes(octet ^ 0x99 for octet in sealed))
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    await node.given_up("failed: calibration fingerprint changed", within_us=span_us)


@case("4, step 3", told="rate_hz")
async def another_rate_than_the_told_one_is_told(line: Line) -> None:
    """A node of another rate than the host was told is not paired, asked for or not."""
    rate_hz = line.setting.rate_hz
    assert rate_hz is not None
    node = as_node(line, rate_hz=rate_hz // 2 or 2)
    seek = await node.sought()
    span_us = window_us(line, seek)
    node.offer(seek)
    await node.given_up("failed: another sample rate", within_us=span_us)


@case("4, step 4; 9")
async def a_wrong_key_is_believed_the_second_time(line: Line) -> None:
    """A host whose proof is refused seeks anew once, with a new exchange, and believes the second refusal."""
    node = as_node(line, key=bytes(b ^ 0x55 for b in line.setting.key))
    seek = await node.sought()
    for turn in ("first", "second"):
        exchange = node.offer(seek)
        prove = await node.prove(exchange)
        if prove is None:
            raise Differs(f"no prove for the {turn} offer", line.newest)
        node.refuse(prove.header, RefuseReason.WRONG_KEY)
        if turn == "first":
            anew = await node.seek(window_us(line, seek))
            if anew is None:
                raise Differs("it does not seek anew after the first refusal of its proof", line.newest)
            if anew.header.session == seek.header.session:
                raise Differs("it seeks anew with the session number of the exchange that was refused")
            seek = anew
    await node.given_up("failed: wrong key")


@case("4, step 4; 8")
async def an_unanswered_prove_is_repeated_then_given_up(line: Line) -> None:
    """The same prove is sent again at each answer timeout; after the last try the address has timed out."""
    node, settings = as_node(line), line.setting.settings
    seek = await node.sought()
    window_us(line, seek)
    first, _ = await node.proven(node.exchange(seek))
    heard_us = line.now_us
    for turn in range(2, settings.tries + 1):
        prove = await node.hear(settings.answer_timeout_us + 50_000 + 2 * line.setting.patience_us)
        if prove is None:
            raise Differs(f"no prove at try {turn} of {settings.tries}", line.newest)
        if prove.body != first.body:
            raise Differs("what it repeats is not the prove that was not answered")
        if line.now_us - heard_us < settings.answer_timeout_us - line.setting.patience_us:
            raise Differs("it repeats its prove before the answer timeout")
        heard_us = line.now_us
    await node.given_up("failed: timed out", within_us=settings.answer_timeout_us)


@case("4, step 4")
async def an_accept_to_the_last_prove_is_taken(line: Line) -> None:
    """A host whose proves are answered only at the last try flows."""
    node, settings = as_node(line), line.setting.settings
    exchange = node.exchange(await node.sought())
    prove, session = await node.proven(exchange)
    for _ in range(settings.tries - 1):
        again = await node.prove(exchange, settings.answer_timeout_us + 50_000)
        if again is None or again.body != prove.body:
            raise Differs("it does not repeat the same prove", line.newest)
    flow = node.accept(exchange, session)
    await flow.clean("it was accepted")
    if not flow.those(Kind.BEAT):
        raise Differs("no beat: it does not flow", line.newest)


@case("4, step 4")
async def a_link_on_which_little_is_answered_is_told(line: Line) -> None:
    """When a seek had to be repeated and no prove is answered, the link is told to be too poor."""
    node, settings = as_node(line), line.setting.settings
    first = await node.sought()
    several_tries(line, node.passed_over)
    seek = await node.seek(window_us(line, first))
    if seek is None:
        raise Differs("it does not seek again", line.newest)
    await node.proven(node.exchange(seek))
    for _ in range(settings.tries - 1):
        await node.hear(settings.answer_timeout_us + 50_000 + 2 * line.setting.patience_us)
    await node.given_up("failed: link too poor", within_us=settings.answer_timeout_us)


@case("4, step 4")
async def broken_answers_are_told_as_a_poor_link(line: Line) -> None:
    """When accepts come with a wrong CRC and no whole one does, the link is told to be too poor."""
    node, settings = as_node(line), line.setting.settings
    seek = await node.sought()
    window_us(line, seek)
    exchange = node.exchange(seek)
    await node.proven(exchange)
    broken = bytearray(exchange.accept_frame)
    broken[-1] ^= 0x10
    for _ in range(settings.tries):
        line.send(bytes(broken))
        await node.hear(settings.answer_timeout_us + 50_000 + 2 * line.setting.patience_us)
    await node.given_up("failed: link too poor")
