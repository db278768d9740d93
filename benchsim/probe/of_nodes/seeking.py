"""Seek and offer: who answers, when, and with what (section 4, steps 1 and 2)."""

from __future__ import annotations

from dataclasses import replace

from benchsim.link import frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind, RefuseReason
from benchsim.link.limits import ANSWERS_KEPT, EXCHANGE_LIFE_US
from benchsim.probe.as_host import AT_ONCE_US, another_host, as_host, changed, refuse_of, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name

# So few waits out of so many are never all alike by chance: 10 draws within a twentieth, 1 in 10^11 (closed
# form of the range of n uniform numbers, n s^(n-1) - (n-1) s^n).
DRAWS, ALIKE = 10, 20
# Copies of one seek: few, so that even a slow serial line has carried them before long.
COPIES = 8
# Many different seeks, and a window so long that hardly any answer goes while they arrive.
MANY, LONGEST_WINDOW_US = 40, 10_000_000
SECOND_US = 1_000_000


def offer_in(frame: Frame) -> frames.Offer:
    assert isinstance(frame.message, frames.Offer)
    return frame.message


@case("4, step 2")
async def seek_is_answered_by_an_offer(line: Line) -> None:
    """A node offers when it is sought at its address, in a version and with k that the seek allows."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    said = await host.offer(exchange)
    offer = offer_in(said)
    if said.header.version != 1 or offer.version != 1:
        raise Differs(f"it offers version {offer.version}; the seek speaks version 1 only")
    if said.header.sequence != 0:
        raise Differs("an offer with a sequence: there is no session yet")
    if offer.samples_per_frame > host.card.settings.samples_per_frame:
        raise Differs(f"it offers k = {offer.samples_per_frame}, more than was asked for")


@case("3; 4, step 2")
async def seek_of_another_address_is_not_answered(line: Line) -> None:
    """A node says nothing to a seek for an address that is not its strap."""
    await unbound(line)
    elsewhere = next(a for a in range(16, 0, -1) if a not in line.setting.addresses)
    host = as_host(line, elsewhere)
    exchange = host.exchange()
    line.send(exchange.seek_frame)
    end_us = line.now_us + host.window_us + 2 * line.setting.patience_us
    while (frame := await line.hear(end_us - line.now_us)) is not None:
        if frame.header.address == line.address and frame.header.session == exchange.number:
            raise Differs(f"it said {name(frame)}, though the seek was for address {elsewhere}")


@case("4, step 2")
async def seek_of_another_network_is_refused_by_an_idle_node(line: Line) -> None:
    """A node that is bound to nobody refuses a seek of another network, and names its own."""
    if not await unbound(line):
        await (await as_host(line).pair()).release()
    await must_refuse_another_network(line)


@case("4, step 2")
async def seek_of_another_network_is_refused_by_a_released_node(line: Line) -> None:
    """A node that was released is bound to nobody again: it refuses a seek of another network."""
    await unbound(line)
    await (await as_host(line).pair()).release()
    await must_refuse_another_network(line)


async def must_refuse_another_network(line: Line) -> None:
    """A seek of another network is refused, with the node's own.  Raises Differs."""
    host = as_host(line, network=line.setting.network ^ 0x0100)
    exchange = host.exchange()
    line.send(exchange.seek_frame)
    refuse = await host.refused(exchange, RefuseReason.WRONG_NETWORK, host.window_us)
    if refuse.network != line.setting.network:
        raise Differs(f"it names network {refuse.network} as its own; it is {line.setting.network}")


@case("4, step 2")
async def seek_of_another_network_is_not_answered_in_an_exchange(line: Line) -> None:
    """A node that talks to a host says nothing to a seek of another network."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    other = as_host(line, network=line.setting.network ^ 0x0100)
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.unanswered(sought, other.window_us, "it talks to another host")
    await (await host.accepted(exchange, offer, host.proof(exchange, offer))).release()


@case("4, step 2")
async def seek_of_another_network_is_not_answered_in_a_flow(line: Line) -> None:
    """A node that works keeps quiet when a neighbour's host seeks in another network."""
    await unbound(line)
    flow = await as_host(line).pair()
    other = as_host(line, network=line.setting.network ^ 0x0100)
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.unanswered(sought, other.window_us, "it works in its own network")
    await flow.echo("the seek was of another network")
    await flow.release()


@case("2, refuse; 4, step 2")
async def seek_without_a_common_version_is_refused(line: Line) -> None:
    """A node refuses a seek that names no version it speaks, and says which it does."""
    await unbound(line)
    host = as_host(line, versions=(254, 255))
    exchange = host.exchange()
    line.send(exchange.seek_frame)
    refuse = await host.refused(exchange, RefuseReason.VERSION, host.window_us)
    if not refuse.version_low <= 1 <= refuse.version_high < 254:
        raise Differs(f"it says that it speaks {refuse.version_low} to {refuse.version_high}")
    if refuse.network != line.setting.network:
        raise Differs(f"it names network {refuse.network} as its own; it is {line.setting.network}")


@case("1, header")
async def refuse_carries_what_it_answers(line: Line) -> None:
    """A refuse has the session, network and version of the frame that it answers."""
    await unbound(line)
    host = as_host(line, versions=(253, 255))
    exchange = host.exchange()
    line.send(exchange.seek_frame)
    said = await line.expect(
        Kind.REFUSE, host.window_us, lambda f: f.header.address == line.address, why="no common version"
    )
    asked = frames.Header(253, Kind.SEEK, host.card.network, line.address, 0, exchange.number, 0)
    refuse_of(said, asked)
    if said.header.sequence != 0:
        raise Differs("a refuse with a sequence: there is no session")


@case("4, step 2")
async def highest_common_version_is_offered(line: Line) -> None:
    """A node offers the highest version that both speak, however many the host names, and keeps to it."""
    await unbound(line)
    asking = as_host(line, versions=(254, 255))
    exchange = asking.exchange()
    line.send(exchange.seek_frame)
    highest = (await asking.refused(exchange, RefuseReason.VERSION, asking.window_us)).version_high
    host = as_host(line, versions=(1, 253))
    exchange = host.exchange()
    said = await host.offer(exchange)
    offer = offer_in(said)
    if said.header.version != offer.version:
        raise Differs("an offer of another version than its header")
    if offer.version != highest:
        raise Differs(f"it offers version {offer.version}; it said that it speaks {highest}")
    flow = await host.accepted(exchange, said, host.proof(exchange, said))
    await flow.echo(f"the session speaks version {highest}")
    await flow.release()


@case("4, step 2")
async def same_seek_gets_the_same_offer(line: Line) -> None:
    """A seek that is sent again is answered by the same offer, octet for octet."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    first = await host.offer(exchange)
    again = await host.offer(exchange)
    if again.body != first.body:
        raise Differs("another offer to the same seek")


@case("2, offer, accept, refuse")
async def says_the_same_of_itself_each_time(line: Line) -> None:
    """Offers, accept and refusals name one serial number; what a node is does not change between offers."""
    await unbound(line)
    host = as_host(line)
    said = [offer_in(await host.offer(host.exchange())) for _ in range(2)]
    one, two = (replace(offer, public=bytes(32)) for offer in said)
    if one != two:
        raise Differs("it says another thing of itself than in the offer before")
    flow = await host.pair()
    other = another_host(line)
    sought = other.exchange()
    line.send(sought.seek_frame)
    refuse = await other.refused(sought, RefuseReason.BOUND, other.window_us)
    serials = {one.serial, flow.offer.serial, flow.accept.serial, refuse.serial}
    if len(serials) > 1:
        raise Differs("it names different serial numbers: " + ", ".join(f"{s:#x}" for s in sorted(serials)))
    await flow.release()


@case("4, keys")
async def public_value_is_new_in_each_exchange(line: Line) -> None:
    """A node's public value is never that of an earlier exchange."""
    await unbound(line)
    host = as_host(line)
    had: set[bytes] = set()
    for _ in range(3):
        offer = offer_in(await host.offer(host.exchange()))
        if offer.public in had:
            raise Differs("the public value of an earlier exchange")
        had.add(offer.public)


@case("4, step 2")
async def offers_wait_at_random_within_half_the_window(line: Line) -> None:
    """A node draws for each answer how long it waits, and never waits longer than half the offer window."""
    await unbound(line)
    host = as_host(line)
    half_us = host.window_us // 2
    waits_us = []
    for _ in range(DRAWS):
        exchange, asked_us = host.exchange(), line.now_us
        line.send(exchange.seek_frame)
        if await host.answer(exchange, (Kind.OFFER,), half_us) is None:
            raise Differs("no offer within half the offer window", line.newest)
        waits_us.append(line.now_us - asked_us)
    if max(waits_us) - min(waits_us) < half_us // ALIKE:
        raise Differs(f"{DRAWS} offers waited equally long: it draws no wait")


@case("4, step 2")
async def copies_of_a_seek_are_not_each_answered(line: Line) -> None:
    """Of copies of a seek that come together one answer waits at a time, not one for each copy."""
    await unbound(line)
    patience_us = 2 * line.setting.patience_us
    host = as_host(line, offer_window_us=min(2 * SECOND_US + 10 * patience_us, LONGEST_WINDOW_US))
    exchange = host.exchange()
    for _ in range(COPIES):
        line.send(exchange.seek_frame)
    all_there_us = line.now_us + patience_us + AT_ONCE_US
    answers = late = 0
    end_us = line.now_us + host.window_us // 2 + patience_us
    while line.now_us < end_us:
        if await host.answer(exchange, (Kind.OFFER,), end_us - line.now_us - patience_us) is not None:
            answers, late = answers + 1, late + (line.now_us > all_there_us)
    if not answers:
        raise Differs("no offer to a right seek that came several times", line.newest)
    if late > 1:  # what goes once all copies are there has waited together
        raise Differs(f"{answers} offers to {COPIES} copies of one seek: {late} of them waited at a time")


@case("4; 9")
async def answers_that_wait_are_bounded(line: Line) -> None:
    """Of many seeks that all are refused, no more answers wait than a node keeps: the others get none."""
    await unbound(line)
    host = as_host(line, versions=(254, 255), offer_window_us=LONGEST_WINDOW_US)
    sent = {host.exchange().number for _ in range(MANY)}
    for number in sent:
        line.send(changed(host.exchange().seek_frame, session=number))
    answers = 0
    end_us = line.now_us + host.window_us // 2 + 2 * line.setting.patience_us
    while (frame := await line.hear(end_us - line.now_us)) is not None:
        answers += frame.header.kind == Kind.REFUSE and frame.header.session in sent
    if not answers:
        raise Differs("no refuse; due: version", line.newest)
    if answers > MANY - ANSWERS_KEPT:
        raise Differs(f"{answers} refusals of {MANY} seeks at once; it may keep {ANSWERS_KEPT} waiting")


@case("4, step 2")
async def k_is_the_smaller_of_both(line: Line) -> None:
    """A node offers its own most samples a frame, or what the seek asks for if that is less."""
    await unbound(line)

    async def offered(asked: int) -> int:
        host = as_host(line, samples_per_frame=asked)
        return offer_in(await host.offer(host.exchange())).samples_per_frame

    own = await offered(80)
    for asked in sorted({1, max(own // 2, 1), own}):
        if (k := await offered(asked)) != asked:
            raise Differs(f"it offers k = {k}; asked for {asked}, and it can do {own}")


@case("4, step 2")
async def another_host_waits_while_a_node_is_in_an_exchange(line: Line) -> None:
    """A node that has offered to one host says nothing to another one, and accepts the first one's proof."""
    await unbound(line)
    host, other = as_host(line), another_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.unanswered(sought, other.window_us, "it is in another host's exchange")
    await (await host.accepted(exchange, offer, host.proof(exchange, offer))).release()


@case("4, step 2")
async def bound_is_said_before_the_version(line: Line) -> None:
    """A node that is bound and speaks no version of another host's seek says that it is bound."""
    await unbound(line)
    flow = await as_host(line).pair()
    other = another_host(line, versions=(254, 255))
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.refused(sought, RefuseReason.BOUND, other.window_us)
    await flow.release()


@case("4, step 2")
async def version_is_refused_in_an_exchange_too(line: Line) -> None:
    """In one host's exchange a node still refuses another host whose seek names no version that it speaks."""
    if not await unbound(line):
        await (await as_host(line).pair()).release()
    host, other = as_host(line), another_host(line, versions=(254, 255))
    exchange = host.exchange()
    offer = await host.offer(exchange)
    sought = other.exchange()
    line.send(sought.seek_frame)
    await other.refused(sought, RefuseReason.VERSION, other.window_us)
    await (await host.accepted(exchange, offer, host.proof(exchange, offer))).release()


@case("4, step 2")
async def exchange_ends_in_its_time_whatever_is_sent(line: Line) -> None:
    """An exchange lives 3 s and one offer window from its first seek: copies of it do not make it longer."""
    await unbound(line)
    host, other = as_host(line, offer_window_us=50_000), another_host(line)
    exchange, begun_us = host.exchange(), line.now_us
    offer = await host.offer(exchange)
    life_us = EXCHANGE_LIFE_US + host.window_us
    end_us = line.now_us + life_us + 2 * line.setting.patience_us
    wrong = changed(host.proof(exchange, offer), proof=bytes(16))
    for late in (2, 4, 6):  # eighths of its life: the last well before its end
        await line.pause(begun_us + late * life_us // 8 - line.now_us)
        line.send(wrong)
        line.send(exchange.seek_frame)
    await line.pause(end_us - line.now_us)
    line.forget()
    sought = other.exchange()
    line.send(sought.seek_frame)
    if await other.answer(sought, (Kind.OFFER,), other.window_us) is None:
        raise Differs("no offer to another host, though the first one's exchange is over", line.newest)
    await (await other.pair()).release()


@case("2, seek; 3")
async def seek_out_of_range_is_not_answered(line: Line) -> None:
    """A node says nothing to a seek that has a field out of its range."""
    await unbound(line)
    host = as_host(line)
    wrong: tuple[dict[str, int], ...] = (
        {"version_low": 0}, {"version_high": 0}, {"samples_per_frame": 0}, {"samples_per_frame": 81},
        {"cells": 5}, {"beat_us": 9_999}, {"beat_us": 60_000_001}, {"version": 0}, {"flags": 1}, {"flags": 2},
        {"offer_window_us": 999}, {"offer_window_us": 10_000_001},
    )  # fmt: skip
    for fields in wrong:  # one by one: of several seeks a node that heeds all answers the last alone
        exchange = host.exchange()
        line.send(changed(exchange.seek_frame, **fields))
        within_us = fields.get("offer_window_us", host.window_us) // 2 + AT_ONCE_US
        told = ", ".join(f"{n} {v}" for n, v in fields.items())
        await host.unanswered(exchange, within_us, f"the seek had {told}")
