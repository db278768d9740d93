"""An MQTT broker brought along, in a thread and loop of its own, for benches without one.

MQTT 3.1.1, anybody may connect: it listens on this machine alone unless a host is named.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from benchsim.ground.errors import BadInput
from benchsim.serve.carriers.medium import OTHER_END, Heard, Side, Tell
from benchsim.serve.carriers.mqtt import MqttCarrier, MqttPlace, need
from benchsim.serve.carriers.own_loop import OwnLoop
from benchsim.serve.live import Connection
from benchsim.serve.sockets import first_address, is_loopback, not_listening, written

if TYPE_CHECKING:
    from amqtt.broker import Broker

MOST_CLIENTS = 32
PATIENCE_S = 5.0
UNREAD_OCTETS = 65_536
LISTENER = "default"
CONFIG: dict[str, Any] = {
    "listeners": {LISTENER: {"type": "external"}},
    "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
}


class OwnBroker:
    """A broker on a socket that is bound already.  It has its own thread: a slow bench does not slow it.

    tell: takes a line, in that thread.
    """

    def __init__(self, sock: socket.socket, tell: Tell) -> None:
        self._sock = sock
        self._tell = tell
        self._clients: set[asyncio.StreamWriter] = set()
        self._own_loop = OwnLoop(self._serve)

    def start(self) -> None:
        """Who connects waits until it takes clients."""
        self._own_loop.start()

    def stop(self) -> None:
        """Send everybody away and end."""
        self._own_loop.stop()

    async def _serve(self) -> None:
        from amqtt.broker import Broker

        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # its clients' troubles are told by them
        broker = Broker(CONFIG, asyncio.get_running_loop())
        await broker.start()
        server = await asyncio.start_server(
            lambda reader, writer: self._client(broker, reader, writer), sock=self._sock
        )
        try:
            await asyncio.Event().wait()  # until it is cancelled
        finally:
            server.close()
            for writer in self._clients:
                writer.close()
            await broker.shutdown()

    async def _client(
        self, broker: Broker, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter

        if len(self._clients) >= MOST_CLIENTS:
            self._tell(f"{_name(writer)}: sent away: {MOST_CLIENTS} clients are here")
            writer.close()
            return
        self._clients.add(writer)
        answered = asyncio.Event()

        out = StreamWriterAdapter(writer)
        write = out.write

        def answer(data: bytes | bytearray) -> None:
            answered.set()
            write(data)

        out.write = answer
        watching = asyncio.create_task(self._watch(writer, answered))
        try:
            await broker.external_connected(StreamReaderAdapter(reader), out, LISTENER)
        finally:
            watching.cancel()
            self._clients.discard(writer)
            writer.close()

    async def _watch(self, writer: asyncio.StreamWriter, answered: asyncio.Event) -> None:
        """Drop a client that has not asked to be let in for a while: it would hold a place for ever.

        And one that has taken nothing for a while: the broker itself would keep all it is to get.
        """
        try:
            await asyncio.wait_for(answered.wait(), PATIENCE_S)
        except TimeoutError:
            self._tell(f"{_name(writer)}: dropped: says nothing")
            writer.transport.abort()
            return
        unread = 0
        while True:
            await asyncio.sleep(PATIENCE_S)
            before, unread = unread, writer.transport.get_write_buffer_size()
            if 0 < before <= unread:
                self._tell(f"{_name(writer)}: dropped: too slow, {unread} octets unread")
                writer.transport.abort()
                return


def _name(writer: asyncio.StreamWriter) -> str:
    host, port = writer.get_extra_info("peername", ("somebody", 0))[:2]
    return f"mqtt {written(host, port)}"


class BrokerCarrier:
    """A broker brought along, and a client of it.  Raises BadInput when a library is missing."""

    def __init__(self, place: MqttPlace, side: Side) -> None:
        need("aiomqtt", "broker")
        need("amqtt", "broker")
        self._place = place
        self._side = side
        self._broker: OwnBroker | None = None
        self._client: MqttCarrier | None = None

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Listen, and connect.  Raises BadInput: the port is taken, not allowed, or not this machine's."""
        place = self._place
        try:
            host = await first_address(place.host)
            family = socket.AF_INET6 if ":" in host else socket.AF_INET
            sock = socket.create_server((host, place.port), family=family, backlog=MOST_CLIENTS)
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, UNREAD_OCTETS)  # of each who connects
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)  # the same
        except OSError as error:
            raise not_listening(place.host, place.port, error, "MQTT") from None
        bound = sock.getsockname()
        place = replace(place, host=bound[0], port=bound[1])
        if not is_loopback(place.host):
            tell(f"mqtt {written(place.host, place.port)}: can be reached from other machines")
        loop = asyncio.get_running_loop()

        def tell_here(line: str) -> None:
            with contextlib.suppress(RuntimeError):  # the bench's loop has ended first
                loop.call_soon_threadsafe(tell, line)

        self._broker = OwnBroker(sock, tell_here)
        self._broker.start()
        self._client = MqttCarrier(place, self._side)
        try:
            connection = await self._client.open(heard, tell)
        except BadInput:
            self.close()
            raise
        return replace(connection, paste=((OTHER_END, f"mqtt:{place.text}"),))

    def send(self, frame: bytes) -> None:
        """By way of the broker."""
        if self._client is not None:
            self._client.send(frame)

    def close(self) -> None:
        """Leave, then end the broker."""
        if self._client is not None:
            self._client.close()
        if self._broker is not None:
            self._broker.stop()
        self._client = self._broker = None
