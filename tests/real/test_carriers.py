"""Every medium of the node link both ways over loopback, and what broken, slow and senseless peers do."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import random
import socket
import struct
import tty

import aiomqtt
import pytest

from benchsim.ground.errors import BadInput
from benchsim.ground.library import shipped
from benchsim.link.limits import LONGEST_FRAME
from benchsim.serve.carrier import Side, make_carrier
from benchsim.serve.carriers import broker, medium, udp
from tests.real.carried import PATIENCE_S, End, wait_for

pytestmark = [pytest.mark.real, pytest.mark.asyncio]

# The shipped vectors were worked out apart from the code (tests/vectors/test_nodelink.py): frame and stream.
VECTORS = json.loads((shipped("protocols") / "nodelink" / "vectors.json").read_text("utf-8"))
FRAMES = [bytes.fromhex(v["frame"]) for v in (*VECTORS["pairing"], *VECTORS["flow"])]
STREAMS = [bytes.fromhex(v["stream"]) for v in (*VECTORS["pairing"], *VECTORS["flow"])]
SEEK, OFFER = FRAMES[:2]
BAD_CRC = SEEK[:-1] + bytes([SEEK[-1] ^ 1])
EVERY_MEDIUM = pytest.mark.parametrize(
    "place", ["listen-tcp:0", "listen-udp:0", "pty", "listen-mqtt:0/deck/link"]
)


def plain(end: End, kind: int = socket.SOCK_STREAM) -> socket.socket:
    """A plain socket to who listens."""
    host, _, port = end.connection.address.partition("/")[0].rpartition(":")
    made = socket.socket(socket.AF_INET, kind)
    made.settimeout(PATIENCE_S)
    made.connect((host, int(port)))
    return made


async def read(client: socket.socket, octets: int) -> bytes:
    """So many octets of a stream; the loop goes on meanwhile."""
    got = b""
    while len(got) < octets:
        more = await asyncio.to_thread(client.recv, octets - len(got))
        assert more, got
        got += more
    return got


@EVERY_MEDIUM
async def test_frames_pass_both_ways_as_they_are_also_the_longest_and_those_with_a_bad_crc(
    place: str,
) -> None:
    longest = random.Random(1).randbytes(LONGEST_FRAME)
    async with End(place, Side.NODES) as nodes, End(nodes.other, Side.HOST) as host:
        host.send(SEEK, BAD_CRC, longest)
        await nodes.hears(SEEK, BAD_CRC, longest)
        nodes.send(*FRAMES, longest)
        await host.hears(*FRAMES, longest)


@pytest.mark.parametrize("place", ["listen-tcp:0", "listen-udp:0", "listen-mqtt:0/deck/link"])
async def test_all_who_are_there_hear_a_frame_and_each_is_heard(place: str) -> None:
    async with (
        End(place, Side.HOST) as host,
        End(host.other, Side.NODES) as one,
        End(host.other, Side.NODES) as other,
    ):
        one.send(OFFER)
        await host.hears(OFFER)
        other.send(OFFER)
        await host.hears(OFFER)
        host.send(SEEK)
        await one.hears(SEEK)
        await other.hears(SEEK)


async def test_a_stream_is_cobs_as_the_vectors_have_it_in_whatever_pieces_it_comes() -> None:
    async with End("listen-tcp:0", Side.NODES) as end:
        with plain(end) as client:
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for octet in STREAMS[0]:
                client.send(bytes([octet]))
                await asyncio.sleep(0)
            await end.hears(FRAMES[0])
            client.sendall(b"".join(STREAMS))
            await end.hears(*FRAMES)
            end.send(*FRAMES)
            stream = b"".join(STREAMS)
            assert await read(client, len(stream)) == stream


async def test_garbage_between_frames_costs_no_frame() -> None:
    noise = bytes(octet or 1 for octet in random.Random(2).randbytes(3 * LONGEST_FRAME))
    async with End("listen-tcp:0", Side.NODES) as end:
        with plain(end) as client:
            client.sendall(
                noise + b"\0" + STREAMS[0] + b"\0\0\0" + b"\xff\x01\0" + STREAMS[1] + STREAMS[0][:9]
            )
            await end.hears(FRAMES[0], FRAMES[1])


async def test_half_a_frame_of_a_client_that_is_cut_off_does_not_touch_the_next_client() -> None:
    async with End("listen-tcp:0", Side.NODES) as end:
        with plain(end) as client:
            client.sendall(STREAMS[0][:20])
            await end.is_told("came")
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        await end.is_told("vanished")
        with plain(end) as client:
            client.sendall(STREAMS[1])
            await end.hears(FRAMES[1])


async def test_a_datagram_is_a_bare_frame() -> None:
    async with End("listen-udp:0", Side.NODES) as end:
        with plain(end, socket.SOCK_DGRAM) as client:
            client.send(b"")
            client.send(SEEK)
            client.send(bytes(LONGEST_FRAME + 1))
            client.send(BAD_CRC)
            await end.hears(SEEK, BAD_CRC)
            end.send(OFFER)
            assert await asyncio.to_thread(client.recv, 4096) == OFFER


async def test_an_mqtt_message_is_a_bare_frame_on_the_topic_of_its_direction() -> None:
    async with End("listen-mqtt:0/deck/link", Side.NODES) as end:
        host, port = end.connection.address.split("/")[0].split(":")
        async with aiomqtt.Client(host, int(port)) as client:
            await client.subscribe("#")
            await client.publish("deck/link/to-nodes", SEEK)
            await client.publish("deck/other/to-nodes", OFFER)
            await client.publish("deck/link/to-nodes", BAD_CRC)
            await end.hears(SEEK, BAD_CRC)
            end.send(OFFER)
            async for message in client.messages:
                if str(message.topic) == "deck/link/to-host":
                    assert (message.payload, message.qos, message.retain) == (OFFER, 0, False)
                    break
        async with aiomqtt.Client(host, int(port)) as late:  # nothing is kept for who comes later
            await late.subscribe("deck/link/#")
            await late.publish("deck/link/to-nodes", SEEK)
            assert (await anext(aiter(late.messages))).payload == SEEK


async def test_a_port_pair_carries_frames_through_pyserial() -> None:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    try:
        async with End(f"serial:{os.ttyname(theirs)}@57600", Side.HOST) as end:
            os.write(ours, STREAMS[1][:7])
            os.write(ours, STREAMS[1][7:] + b"\xff\xff\0" + STREAMS[0])
            await end.hears(FRAMES[1], FRAMES[0])
            end.send(SEEK)
            assert await asyncio.to_thread(os.read, ours, 4096) == STREAMS[0]
    finally:
        os.close(theirs)
        os.close(ours)


async def test_a_call_is_made_again_when_who_listened_is_back() -> None:
    async with contextlib.AsyncExitStack() as stack:
        async with End("listen-tcp:0", Side.NODES) as nodes:
            back = nodes.other.replace("tcp:", "listen-tcp:")
            host = await stack.enter_async_context(End(nodes.other, Side.HOST))
        host.send(SEEK)  # to nobody: let go
        await host.is_told("called again until it answers")
        async with End(back, Side.NODES) as nodes:
            await nodes.is_told("came")
            host.send(OFFER)
            await nodes.hears(OFFER)
            nodes.send(SEEK)
            await host.hears(SEEK)


async def test_a_datagram_to_nobody_is_told_once_and_heard_when_somebody_is_there() -> None:
    async with End("listen-udp:0", Side.NODES) as nodes:
        place, back = nodes.other, nodes.other.replace("udp:", "listen-udp:")
    async with End(place, Side.HOST) as host:
        for _ in range(20):
            host.send(SEEK)
            await asyncio.sleep(0.005)
        assert [line for line in host.told if "nobody listens" in line] == host.told[:1] != []
        async with End(back, Side.NODES) as nodes:
            await nodes.hears_after_asking(host, SEEK)
            nodes.send(OFFER)
            await host.hears(OFFER)
            await host.is_told("is there again")


async def test_a_broker_that_comes_back_is_taken_up_again() -> None:
    async with contextlib.AsyncExitStack() as stack:
        async with End("listen-mqtt:0/x", Side.NODES) as nodes:
            back = nodes.other.replace("mqtt:", "listen-mqtt:")
            host = await stack.enter_async_context(End(nodes.other, Side.HOST))
            host.send(SEEK)
            await nodes.hears(SEEK)
        await host.is_told("gone")
        async with End(back, Side.NODES) as nodes:
            await nodes.hears_after_asking(host, SEEK)
            nodes.send(OFFER)
            await wait_for(lambda: OFFER in host.heard, "an offer")


async def test_a_broker_that_lets_nobody_read_is_told_as_such() -> None:
    """MQTT 3.1.1 (OASIS, 2014), 3.2 and 3.9: CONNACK, accepted; SUBACK with 0x80, failure."""

    async def refuse(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.closing(writer):
            assert (await reader.read(1000))[0] == 0x10  # CONNECT
            writer.write(b"\x20\x02\x00\x00")
            asked = await reader.read(1000)
            assert asked[0] == 0x82  # SUBSCRIBE
            writer.write(b"\x90\x03" + asked[2:4] + b"\x80")
            await reader.read(1000)

    async with await asyncio.start_server(refuse, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        carrier = make_carrier(f"mqtt:127.0.0.1:{port}/x", Side.HOST)
        with pytest.raises(BadInput, match=r"not let us read x/to-host"):
            await carrier.open(lambda _frame: None, lambda _line: None)


async def test_a_peer_that_takes_nothing_is_dropped_with_a_reason_and_the_others_get_all() -> None:
    longest = bytes(range(1, 256)) * 5
    async with End("listen-tcp:0", Side.NODES) as end, End(end.other, Side.HOST) as reader:
        with plain(end) as slow:
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            await wait_for(lambda: len(end.told) == 2, "both came")
            sent = 0
            while not any("dropped: too slow" in line for line in end.told):
                assert sent < 20_000, end.told
                end.send(*[longest] * 10)
                sent += 10
                await asyncio.sleep(0)
            await wait_for(lambda: len(reader.heard) == sent, "all frames")
            end.send(SEEK)
            await wait_for(lambda: reader.heard[-1] == SEEK, "the last frame")


async def test_a_broker_brought_along_drops_who_takes_nothing_and_survives_who_makes_no_sense(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(broker, "PATIENCE_S", 0.2)
    # MQTT 3.1.1 (OASIS, 2014), 3.1 and 3.8: CONNECT as "slow", clean session; SUBSCRIBE to "#", QoS 0
    connect = b"\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04slow"
    subscribe = b"\x82\x06\x00\x01\x00\x01#\x00"
    longest = bytes(range(1, 256)) * 5
    async with End("listen-mqtt:0/deck", Side.NODES) as end, End(end.other, Side.HOST) as reader:
        with plain(end) as slow, plain(end) as senseless:
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.sendall(connect)
            assert await read(slow, 4) == b"\x20\x02\x00\x00"  # CONNACK, accepted
            slow.sendall(subscribe)
            assert await read(slow, 5) == b"\x90\x03\x00\x01\x00"  # SUBACK
            senseless.sendall(random.Random(3).randbytes(50_000))
            sent = 0
            while not any("dropped: too slow" in line for line in end.told):
                assert sent < 40_000, end.told
                end.send(*[longest] * 100)
                sent += 100
                await wait_for(lambda: len(reader.heard) == sent, f"{sent} frames")  # noqa: B023
        end.send(SEEK)
        await wait_for(lambda: reader.heard[-1] == SEEK, "the last frame")


async def test_a_broker_brought_along_keeps_no_place_for_who_says_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(broker, "PATIENCE_S", 0.5)
    monkeypatch.setattr(broker, "MOST_CLIENTS", 3)
    async with End("listen-mqtt:0/deck", Side.NODES) as end:
        with plain(end) as one, plain(end) as other:
            for silent in (one, other):
                with contextlib.suppress(ConnectionResetError):
                    assert await asyncio.to_thread(silent.recv, 1) == b""
        await end.is_told("dropped: says nothing")
        async with End(end.other, Side.HOST) as host:
            host.send(SEEK)
            await end.hears(SEEK)


async def test_a_pseudo_terminal_that_nobody_reads_loses_whole_frames_and_says_so() -> None:
    async with End("pty", Side.NODES) as end:
        end.send(*[SEEK] * 2000)
        await end.is_told("nobody takes the frames")
        async with End(end.other, Side.HOST) as host:
            await end.is_told("takes frames again")
            end.send(OFFER)
            await wait_for(lambda: OFFER in host.heard, "a frame that was sent later")
            assert set(host.heard[1:]) <= {SEEK, OFFER}  # as it opens, a port may cut the first


async def test_a_flood_is_held_down_and_told_once_and_others_are_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(medium, "BURST_FRAMES", 100)
    monkeypatch.setattr(medium, "STEADY_FRAMES_PER_S", 1)
    async with End("listen-tcp:0", Side.NODES) as end, End(end.other, Side.HOST) as other:
        with plain(end) as flooder:
            flooder.sendall(STREAMS[0] * 1000)
            await end.is_told("floods")
            other.send(OFFER)
            await wait_for(lambda: OFFER in end.heard, "a frame of somebody else")
        assert 100 <= end.heard.count(SEEK) < 200
        assert sum("floods" in line for line in end.told) == 1


async def test_datagrams_are_answered_to_a_bounded_number_of_peers_that_sent_a_whole_frame() -> None:
    async with End("listen-udp:0", Side.NODES) as end:
        clients = [plain(end, socket.SOCK_DGRAM) for _ in range(udp.MOST_PEERS + 2)]
        try:
            clients[0].send(BAD_CRC)
            await end.hears(BAD_CRC)
            for client in clients[1:]:
                client.send(SEEK)
                await end.hears(SEEK)
            clients[0].send(BAD_CRC)
            await end.hears(BAD_CRC)
            end.send(OFFER)
            for client in clients[2:]:
                assert await asyncio.to_thread(client.recv, 4096) == OFFER
            for client in clients[:2]:  # never a whole frame; silent for longest
                client.setblocking(False)
                with pytest.raises(BlockingIOError):
                    client.recv(4096)
            await end.is_told(f"forgotten: {udp.MOST_PEERS} others")
        finally:
            for client in clients:
                client.close()


async def test_a_peer_that_was_silent_for_long_is_not_answered_any_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(udp, "FORGET_S", 0.05)
    async with End("listen-udp:0", Side.NODES) as end, End(end.other, Side.HOST) as host:
        host.send(SEEK)
        await end.hears(SEEK)
        await asyncio.sleep(0.06)
        end.send(OFFER)
        await end.is_told("forgotten: silent")
        host.send(SEEK)
        await end.hears(SEEK)
        end.send(SEEK)
        await host.hears(SEEK)


@pytest.mark.parametrize("place", ["listen-tcp:{}", "listen-udp:{}", "listen-mqtt:{}/x"])
async def test_a_taken_port_is_told(place: str) -> None:
    kind = socket.SOCK_DGRAM if "udp" in place else socket.SOCK_STREAM
    with socket.socket(socket.AF_INET, kind) as taken:
        taken.bind(("127.0.0.1", 0))
        if kind == socket.SOCK_STREAM:
            taken.listen()
        carrier = make_carrier(place.format(taken.getsockname()[1]), Side.NODES)
        with pytest.raises(BadInput, match="is taken; choose another, or 0"):
            await carrier.open(lambda _frame: None, lambda _line: None)


@pytest.mark.parametrize("place", ["tcp:{}", "mqtt:{}/x"])
async def test_nobody_at_a_place_that_is_called_is_told(place: str) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    carrier = make_carrier(place.format(port), Side.HOST)
    with pytest.raises(BadInput, match=f"127.0.0.1:{port}.*start "):
        await carrier.open(lambda _frame: None, lambda _line: None)
    carrier.close()


async def test_a_closed_carrier_sends_nothing_and_raises_nothing() -> None:
    async with End("listen-tcp:0", Side.NODES) as nodes:
        pass
    nodes.send(SEEK)
    nodes.carrier.close()
