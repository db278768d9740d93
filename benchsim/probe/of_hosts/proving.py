"""Proving: proofs, what refuses them, and accepts that are none (section 4, steps 4 and 5; section 10)."""

from __future__ import annotations

from dataclasses import replace

from benchsim.link import codec, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import Accept, Kind, RefuseReason
from benchsim.link.limits import NO_NUMBER, PROOF_OCTETS
from benchsim.link.pairing import NodeExchange
from benchsim.probe.as_node import OF_HOST, OTHER_SERIAL, as_node, time_to_answer, window_us
from benchsim.probe.case import case
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.line import Line

# Public values whose shared secret is all zeros (RFC 7748, 6.1): the points 0 and 1, one of order 8, and p,
# which is 0 again.  That the cryptography package refuses each of them is tested.
SMALL_ORDER = (
    bytes(32),
    bytes([1]) + bytes(31),
    bytes.fromhex("e0eb7a7c3b41b8ae1656e3faf19fc46ada098deb9c32b1fd866205165f49b800"),
    bytes.fromhex("edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f"),
)
# So long it is watched what a host makes of accepts that are not for it.
OTHERS_US = 50_000


def _read(frame: bytes) -> Frame:
    read = codec.read(frame)
    assert isinstance(read, Frame)
    return read


def _accept_with(exchange: NodeExchange, **other: object) -> bytes:
    """The accept of an exchange with other fields in header or message, its proof as it was."""
    said = _read(exchange.accept_frame)
    of_header = {n: v for n, v in other.items() if n in ("session", "network", "version", "address")}
    of_message = {n: v for n, v in other.items() if n not in of_header}
    header = replace(said.header, **of_header)  # type: ignore[arg-type]
    assert isinstance(said.message, Accept)
    return codec.seal(codec.body_of(header, replace(said.message, **of_message)))  # type: ignore[arg-type]


@case("4, step 4 and keys; 2")
async def the_proof_of_a_prove_is_right(line: Line) -> None:
    """A prove names the serial number that offered, and proves the pairing key over seek and offer."""
    node = as_node(line)
    prove, _ = await node.proven(node.exchange(await node.sought()))
    if prove.header.sequence != 0:
        raise Differs(f"prove with sequence {prove.header.sequence}; 0 is right before there is a session")


@case("4, step 4")
async def no_session_at_the_prove_begins_anew(line: Line) -> None:
    """A node that has no such exchange is sought anew at once, in a new exchange, and then paired."""
    if line.setting.settings.tries < 2:
        raise NotReached("a host of one try gives up at the first such answer")
    node = as_node(line)
    exchange = node.offer(await node.sought())
    prove = await node.prove(exchange)
    if prove is None:
        raise Differs("no prove for a right offer", line.newest)
    node.refuse(prove.header, RefuseReason.NO_SESSION)
    anew = await node.seek(50_000)
    if anew is None:
        raise Differs("it does not seek anew after refuse: no session", line.newest)
    if anew.header.session == exchange.number or anew.body == exchange.seek_body:
        raise Differs("it seeks anew in the exchange that the node does not have")
    flow = await node.pair(seek=anew)
    await flow.clean("the node has accepted")


@case("4, keys; 10")
async def a_public_value_of_small_order_ends_the_exchange(line: Line) -> None:
    """A host proves nothing to an offer with which the shared secret is all zeros: it tells a wrong key."""
    node = as_node(line)
    for public in SMALL_ORDER:
        seek = await node.sought()
        span_us, said = window_us(line, seek), _read(node.exchange(seek).offer_frame)
        line.send(codec.seal(codec.body_of(said.header, replace(said.message, public=public))))  # type: ignore[arg-type]
        await node.silent(span_us, "the shared secret is all zeros", (Kind.PROVE, Kind.BEAT))
        await node.says("failed: wrong key")
    await node.pairs_again()


@case("4, step 5; 10")
async def an_accept_with_a_wrong_proof_is_a_wrong_key(line: Line) -> None:
    """A host whose node cannot prove the key does not flow: it tells a wrong key, and never beats."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    await node.proven(exchange)
    line.send(_accept_with(exchange, proof=bytes(PROOF_OCTETS)))
    await node.given_up("failed: wrong key")


@case("4, step 5 and keys; 10")
async def what_an_accept_says_is_under_its_proof(line: Line) -> None:
    """An accept whose next sample was changed on the way does not begin a flow."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    await node.proven(exchange)
    line.send(_accept_with(exchange, next_sample=800))
    await node.silent(200_000, "the proof does not cover what the accept says", (Kind.BEAT,))


@case("4, step 5 and keys; 10")
async def the_proof_of_a_host_is_not_taken_back(line: Line) -> None:
    """An accept that carries the host's own proof back proves nothing."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    prove, _ = await node.proven(exchange)
    line.send(_accept_with(exchange, proof=prove.body[-PROOF_OCTETS:]))
    await node.silent(200_000, "the proof of the accept is its own", (Kind.BEAT,))


@case("3; 4, step 5")
async def accepts_of_others_are_let_be(line: Line) -> None:
    """An accept of another session, network or serial number moves nothing; the right one is taken."""
    node = as_node(line)
    time_to_answer(line, OTHERS_US + 2 * line.setting.patience_us, tries=True)
    exchange = node.exchange(await node.sought())
    _, session = await node.proven(exchange)
    line.send(_accept_with(exchange, session=exchange.number ^ 1))
    line.send(_accept_with(exchange, network=line.setting.network ^ 1))
    line.send(_accept_with(exchange, serial=OTHER_SERIAL))
    await node.silent(OTHERS_US, "no accept was of its exchange", OF_HOST - {Kind.PROVE})
    flow = node.accept(exchange, session)
    await flow.wait(Kind.BEAT, 50_000, "the right accept came after those of others")


@case("4, step 5; 10")
async def an_accept_of_an_earlier_exchange_is_let_be(line: Line) -> None:
    """What was said in one pairing is worth nothing in the next: an old offer and accept are not taken."""
    node = as_node(line)
    time_to_answer(line, OTHERS_US + 2 * line.setting.patience_us, tries=True)
    old = await node.flowing()
    exchange = node.exchange(await node.sought())
    line.send(old.exchange.offer_frame)
    _, session = await node.proven(exchange)
    line.send(old.exchange.accept_frame)
    await node.silent(OTHERS_US, "the accept is of an earlier exchange", OF_HOST - {Kind.PROVE})
    flow = node.accept(exchange, session)
    await flow.clean("the right accept came")
    if not flow.those(Kind.BEAT):
        raise Differs("no beat: it does not flow", line.newest)


@case("4, step 5; 5")
async def a_replayed_accept_begins_nothing_anew(line: Line) -> None:
    """The same accept again leaves a flow as it is: its sequences go on."""
    node = as_node(line)
    flow = await node.flowing()
    for _ in range(3):
        line.send(flow.exchange.accept_frame)
    await flow.clean("an accept that was had already begins nothing")
    await flow.alive("an accept that was had already ends nothing")


@case("2; 4, step 5; 6; 9")
async def an_accept_of_no_number_begins_nothing(line: Line) -> None:
    """An accept whose next sample is no number is dropped, also with a right proof."""
    node = as_node(line)
    exchange = node.exchange(await node.sought())
    await node.proven(exchange, NO_NUMBER)
    line.send(exchange.accept_frame)
    await node.silent(200_000, "its next sample is no number", (Kind.BEAT, Kind.AGAIN))


def is_worthless(public: bytes) -> bool:
    """Whether every secret shared with this public value is all zeros."""
    return keys.agree(bytes(range(32)), public) is None
