"""Prove and accept: who is let in, and what an accept says (section 4, steps 4 and 5, and keys)."""

from __future__ import annotations

from benchsim.link import frames, keys
from benchsim.link.frames import Kind, RefuseReason
from benchsim.link.limits import EXCHANGE_LIFE_US
from benchsim.link.pairing import HostExchange, proof_of
from benchsim.probe.as_host import (
    AT_ONCE_US,
    AsHost,
    another_host,
    as_host,
    changed,
    changed_body,
    of_key,
    unbound,
    words,
)
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name

# u-coordinates of small order on Curve25519: 0, 1 and p - 1 (RFC 7748, 6.1 and 7: the secret is all zeros).
SMALL_ORDER = tuple(u.to_bytes(32, "little") for u in (0, 1, 2**255 - 20))


async def must_refuse(host: AsHost, exchange: HostExchange, prove: bytes, reason: RefuseReason) -> None:
    """Prove once; the refusal that is due comes at once.  Raises Differs."""
    host.line.send(prove)
    await host.refused(exchange, reason, AT_ONCE_US)


def proof_in(prove: bytes) -> bytes:
    """The proof of a prove: it ends the frame, before the CRC."""
    return changed_body(prove)[-16:]


@case("4, step 5")
async def right_proof_is_accepted(line: Line) -> None:
    """A node accepts a right proof at once, proves itself, and names a first sample that begins a frame."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    line.send(host.proof(exchange, offer))
    said = await host.answer(exchange, (Kind.ACCEPT, Kind.REFUSE), AT_ONCE_US)
    if said is None:
        raise Differs("no accept to a right prove", line.newest)
    if not isinstance(said.message, frames.Accept):
        refused = said.message
        assert isinstance(refused, frames.Refuse)
        raise Differs(f"it refuses a right prove: {words(refused.reason)}{of_key(refused)}")
    flow = host.flow(exchange, offer, said)
    if flow.accept.serial != flow.offer.serial:
        raise Differs("accept and offer name two serial numbers")
    if (said.header.version, said.header.sequence) != (flow.offer.version, 0):
        raise Differs("accept with another version than its offer, or with a sequence")
    if flow.accept.next_sample % flow.k:
        raise Differs(f"the flow would begin at sample {flow.accept.next_sample}, amid a frame of {flow.k}")
    await flow.release()


@case("4, step 4")
async def wrong_proof_is_refused_and_the_right_one_still_taken(line: Line) -> None:
    """A node refuses a wrong proof with wrong key and stays in the exchange: the right one is accepted."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    prove = host.proof(exchange, offer)
    await must_refuse(host, exchange, changed(prove, proof=bytes(16)), RefuseReason.WRONG_KEY)
    await (await host.accepted(exchange, offer, prove)).release()


@case("4, keys")
async def proof_is_compared_whole(line: Line) -> None:
    """A proof that is wrong in its last octet only, or made with half a key, is as wrong as any."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    prove = host.proof(exchange, await host.offer(exchange))
    proof = proof_in(prove)
    for wrong in (proof[:-1] + bytes([proof[-1] ^ 1]), bytes([proof[0] ^ 0x80]) + proof[1:]):
        await must_refuse(host, exchange, changed(prove, proof=wrong), RefuseReason.WRONG_KEY)


@case("4, step 4; 10")
async def host_with_another_pairing_key_is_refused(line: Line) -> None:
    """A host that has another pairing key is refused with wrong key."""
    await unbound(line)
    key = line.setting.key
    host = as_host(line, key=key[:-1] + bytes([key[-1] ^ 1]))
    exchange = host.exchange()
    prove = host.proof(exchange, await host.offer(exchange))
    await must_refuse(host, exchange, prove, RefuseReason.WRONG_KEY)


@case("4, step 4")
async def prove_to_another_serial_is_refused(line: Line) -> None:
    """A prove that names another serial number is refused with two nodes, and moves nothing."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    prove = host.proof(exchange, offer)
    assert isinstance(offer.message, frames.Offer)
    other = changed(prove, serial=offer.message.serial ^ 1)
    await must_refuse(host, exchange, other, RefuseReason.TWO_NODES)
    said = await host.answer(exchange, (Kind.ACCEPT,), AT_ONCE_US)
    if said is not None:
        raise Differs("it accepts a prove that names another serial number")
    await (await host.accepted(exchange, offer, prove)).release()


@case("4, step 4")
async def prove_without_an_exchange_is_refused(line: Line) -> None:
    """A prove of an exchange that the node does not have is refused with no session."""
    await unbound(line)
    host = as_host(line)
    exchange, unknown = host.exchange(), host.exchange()
    prove = host.proof(exchange, await host.offer(exchange))
    await must_refuse(host, unknown, changed(prove, session=unknown.number), RefuseReason.NO_SESSION)


@case("3; 4, step 4")
async def prove_of_another_network_is_dropped(line: Line) -> None:
    """A prove of another network is not answered, whatever else it says; the right one still is."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    prove = host.proof(exchange, offer)
    network = line.setting.network ^ 1
    line.send(changed(prove, network=network))
    line.send(changed(prove, network=network, serial=0))
    line.send(changed(prove, network=network, session=exchange.number ^ 1))
    end_us = line.now_us + AT_ONCE_US + 2 * line.setting.patience_us
    while (frame := await line.hear(end_us - line.now_us)) is not None:
        if frame.header.address == line.address and frame.header.kind in (Kind.ACCEPT, Kind.REFUSE):
            raise Differs(f"it said {name(frame)} to a prove of another network")
    await (await host.accepted(exchange, offer, prove)).release()


@case("4, step 2")
async def exchange_lives_its_time(line: Line) -> None:
    """A right prove is accepted as long as its exchange lives: 3 s and one offer window from its seek."""
    await unbound(line)
    host = as_host(line)
    exchange, begun_us = host.exchange(), line.now_us
    offer = await host.offer(exchange)
    life_us = EXCHANGE_LIFE_US + host.window_us
    late_us = begun_us + life_us - line.setting.patience_us - AT_ONCE_US
    await line.pause(late_us - line.now_us)
    await (await host.accepted(exchange, offer, host.proof(exchange, offer))).release()


@case("4, steps 2 and 4")
async def new_seek_takes_the_place_of_the_exchange(line: Line) -> None:
    """Another seek of the same host begins a new exchange: a prove of the one before finds no session."""
    await unbound(line)
    host = as_host(line)
    old, new = host.exchange(), host.exchange()
    prove = host.proof(old, await host.offer(old))
    line.send(new.seek_frame)
    offer = await host.answer(new, (Kind.OFFER,), host.window_us)
    if offer is None:
        raise Differs("no offer to another seek of the same host", line.newest)
    await must_refuse(host, old, prove, RefuseReason.NO_SESSION)
    await (await host.accepted(new, offer, host.proof(new, offer))).release()


@case("4, step 5")
async def same_prove_gets_the_same_accept(line: Line) -> None:
    """A prove that is sent again is answered by the same accept, octet for octet; the flow goes on."""
    await unbound(line)
    host = as_host(line)
    exchange = host.exchange()
    offer = await host.offer(exchange)
    prove = host.proof(exchange, offer)
    flow = await host.accepted(exchange, offer, prove)
    await flow.data()
    line.send(prove)
    again = await host.answer(exchange, (Kind.ACCEPT, Kind.REFUSE), AT_ONCE_US)
    if again is None:
        raise Differs("no accept when the prove that it has accepted came again", line.newest)
    if isinstance(again.message, frames.Refuse):
        said = words(again.message.reason)
        raise Differs(f"it refuses the prove that it has accepted when it comes again: {said}")
    if again.body != flow.accepted.body:
        raise Differs("another accept to the same prove")
    await flow.data("the same prove came again")
    await flow.echo("the same prove came again")
    await flow.release()


@case("4, step 4; 10")
async def proof_of_an_old_exchange_is_not_taken(line: Line) -> None:
    """A prove of an exchange that is over is refused, as it was and as one of a new exchange."""
    await unbound(line)
    host = as_host(line)
    old = host.exchange()
    offer = await host.offer(old)
    recorded = host.proof(old, offer)
    await host.accepted(old, offer, recorded)
    flow = await host.pair()
    await must_refuse(host, old, recorded, RefuseReason.NO_SESSION)
    new = host.exchange()
    await host.offer(new)
    await must_refuse(host, new, changed(recorded, session=new.number), RefuseReason.WRONG_KEY)
    await flow.echo("an old prove was replayed")
    await flow.release()


@case("4, keys")
async def public_value_of_small_order_is_not_accepted(line: Line) -> None:
    """A public value that gives a secret of all zeros ends without accept, even for a fitting proof."""
    await unbound(line)
    host = as_host(line)
    for public in SMALL_ORDER:
        exchange = host.exchange()
        seek = changed(exchange.seek_frame, public=public)
        line.send(seek)
        offer = await host.answer(exchange, (Kind.OFFER,), host.window_us)
        if offer is None:
            continue
        heard = (changed_body(seek), offer.body)
        zeros = keys.proof_keys(keys.extract(host.card.key, bytes(32)), keys.transcript(*heard))
        line.send(changed(host.proof(exchange, offer), proof=proof_of(zeros.host, *heard)))
        said = await host.answer(exchange, (Kind.ACCEPT, Kind.REFUSE), AT_ONCE_US)
        if said is not None and said.header.kind == Kind.ACCEPT:
            raise Differs("it accepts a secret of all zeros: anybody could have agreed on it")


@case("4, steps 2 and 5")
async def flow_goes_on_until_a_new_prove_is_right(line: Line) -> None:
    """A node that flows offers too and goes on flowing; only a right proof ends its session for a new one."""
    await unbound(line)
    host = as_host(line, samples_per_frame=1)
    flow = await host.pair()
    exchange = host.exchange()
    offer = await host.offer(exchange)
    await flow.data("it was only sought")
    prove = host.proof(exchange, offer)
    await must_refuse(host, exchange, changed(prove, proof=bytes(16)), RefuseReason.WRONG_KEY)
    await flow.data("the proof was wrong")
    await flow.echo("the proof was wrong")
    new = await host.accepted(exchange, offer, prove)
    await new.data("a new session has begun")
    old_beat = flow.beat()
    end_us = line.now_us + new.way_us
    while (frame := await new.hear(end_us - line.now_us)) is not None:
        if isinstance(frame.message, frames.Echo) and frame.message.host_t_us == old_beat:
            raise Differs("it answers in the session before")
    await new.release()


@case("10")
async def nobody_is_bound_by_what_is_not_proven(line: Line) -> None:
    """Seeks and wrong proofs of a stranger bind no node: its host pairs as soon as that exchange is over."""
    if not await unbound(line):
        await (await as_host(line).pair()).release()
    other_key = bytes(octet ^ 0xFF for octet in line.setting.key)
    stranger = another_host(line, key=other_key, offer_window_us=50_000)
    exchange = stranger.exchange()
    prove = stranger.proof(exchange, await stranger.offer(exchange))
    await must_refuse(stranger, exchange, prove, RefuseReason.WRONG_KEY)
    flow = await as_host(line).pair("a stranger's proof was wrong")
    await flow.release()
