"""TCP: any number of clients at once, each with its own conversation.

Nothing waits for a client.  One whose answers pile up is read no further; one that takes nothing for a
while is dropped with a reason; one that vanishes is forgotten.
"""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import socket
from dataclasses import dataclass
from typing import Protocol

from benchsim.ground.errors import BadInput
from benchsim.serve.live import Connection, Guest, House

LOOPBACK = "127.0.0.1"
READ_OCTETS = 4096
SENT_AWAY = "sent away: the bench ends"


@dataclass(frozen=True, slots=True)
class Limits:
    """What one listener puts up with.

    unread_octets: answers that may wait for one client before its requests are left waiting.
    patience_s: how long it may then take nothing.  clients: how many may be here at once.
    """

    unread_octets: int = 16_384
    patience_s: float = 5.0
    clients: int = 256


def parse_address(text: str, kind: str = "TCP", lowest: int = 0) -> tuple[str, int]:
    """ "5000", "0", "192.0.2.1:5000", "[::1]:5000" to host and port; loopback when no host is named.

    kind: what the port is of.  lowest: 0 where any free port will do, else 1.  Raises BadInput.
    """
    host, colon, port_text = text.rpartition(":")
    if not port_text.isascii() or not port_text.isdigit() or not lowest <= int(port_text) <= 65535:
        first = "1" if lowest else "0 (any free one)"
        raise BadInput(
            f"{text!r} names no {kind} port", f"write [host:]port with a port from {first} to 65535"
        )
    if not colon:
        return LOOPBACK, int(port_text)
    bare = host[1:-1] if host.startswith("[") and host.endswith("]") else host
    if not _can_be_host(bare) or (":" in bare and bare == host):
        raise BadInput(f"{text!r} has no usable host", "write 127.0.0.1:5000 or [::1]:5000")
    return bare, int(port_text)


def _can_be_host(host: str) -> bool:
    """Whether it can be looked up at all: a name with an empty or too long part cannot."""
    try:
        return bool(host.encode("idna")) and "\0" not in host
    except UnicodeError:
        return False


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach it."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


class Gate(Protocol):
    """Who lets TCP connections in and counts them out."""

    @property
    def limits(self) -> Limits: ...
    def came(self, peer: Peer) -> bool: ...
    def left(self, peer: Peer) -> None: ...


class TcpRim:
    """A listening socket."""

    def __init__(self, house: House, address: str, limits: Limits | None = None) -> None:
        self._house = house
        self._host, self._port = parse_address(address)
        self.limits = limits or Limits()
        self._server: asyncio.Server | None = None
        self._peers: set[Peer] = set()

    async def open(self) -> Connection:
        """Listen.  Raises BadInput: the port is taken, not allowed, or the host is not this machine's."""
        loop = asyncio.get_running_loop()
        try:
            host = await first_address(self._host)
            self._server = await loop.create_server(
                lambda: Peer(self, self._house), host, self._port, backlog=128
            )
        except OSError as error:
            raise not_listening(self._host, self._port, error) from None
        host, port = self._server.sockets[0].getsockname()[:2]
        address = written(host, port)
        if not is_loopback(host):
            self._house.note(address, "can be reached from other machines")
        return Connection("tcp", address, _paste(host, port, address))

    def close(self) -> None:
        """Listen no more; send who is here away."""
        if self._server is not None:
            self._server.close()
        for peer in tuple(self._peers):
            peer.send_away()

    def came(self, peer: Peer) -> bool:
        """Count a client in; False when the house is full."""
        if len(self._peers) >= self.limits.clients:
            return False
        self._peers.add(peer)
        return True

    def left(self, peer: Peer) -> None:
        """Count it out."""
        self._peers.discard(peer)


class Peer(asyncio.BufferedProtocol):
    """One connection.  Reads at most READ_OCTETS at a time, so one client's flood leaves room for others."""

    def __init__(self, rim: Gate, house: House, came: str = "came", ended: str = SENT_AWAY) -> None:
        self._rim = rim
        self._house = house
        self._came, self._ended = came, ended  # how it is told
        self._buffer = bytearray(READ_OCTETS)
        self._client: Guest | None = None
        self._transport: asyncio.Transport | None = None
        self._patience: asyncio.TimerHandle | None = None
        self._unread = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(f"{transport!r} is not a stream")
        peer = transport.get_extra_info("peername")
        if peer is None:  # gone before we could look
            transport.abort()
            return
        name = f"tcp {peer[0]}:{peer[1]}"
        if not self._rim.came(self):
            self._house.note(name, f"sent away: {self._rim.limits.clients} clients are here", done=False)
            transport.abort()
            return
        sock: socket.socket = transport.get_extra_info("socket")
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        transport.set_write_buffer_limits(high=self._rim.limits.unread_octets)
        self._transport = transport
        self._client = self._house.join(name, self._send, self._came)

    def get_buffer(self, sizehint: int) -> bytearray:
        return self._buffer

    def buffer_updated(self, nbytes: int) -> None:
        if self._client is not None:
            self._client.heard(bytes(self._buffer[:nbytes]))

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        if self._client is not None:
            self._house.leave(self._client, f"vanished: {exc}" if exc else "left")
        self._client = self._transport = None
        self._rim.left(self)

    def pause_writing(self) -> None:
        """Its answers pile up: ask it nothing more, and see in a while whether it has taken any."""
        if self._transport is None:
            return
        self._transport.pause_reading()
        self._unread = self._transport.get_write_buffer_size()
        self._wait()

    def resume_writing(self) -> None:
        self._stop_waiting()
        if self._transport is not None and not self._transport.is_closing():
            self._transport.resume_reading()

    def send_away(self) -> None:
        """We end: what was said is still delivered if the client takes it."""
        if self._client is not None:
            self._house.leave(self._client, self._ended)
        if self._transport is not None:
            self._transport.close()

    def _send(self, data: bytes) -> None:
        transport = self._transport
        if transport is None or transport.is_closing():
            return
        if transport.get_write_buffer_size() > 4 * self._rim.limits.unread_octets:
            self._drop()  # lines that repeat come whether or not anybody takes them
            return
        transport.write(data)

    def _wait(self) -> None:
        loop = asyncio.get_running_loop()
        self._patience = loop.call_later(self._rim.limits.patience_s, self._look)

    def _stop_waiting(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _look(self) -> None:
        if self._transport is None:
            return
        unread = self._transport.get_write_buffer_size()
        if unread >= self._unread:
            self._drop()
            return
        self._unread = unread
        self._wait()

    def _drop(self) -> None:
        if self._transport is None or self._client is None:
            return
        unread = self._transport.get_write_buffer_size()
        self._house.leave(self._client, f"dropped: too slow, {unread} octets unread", done=False)
        self._transport.abort()


async def first_address(host: str) -> str:
    """One address of a host, so that one place is one socket and one port; IPv4 where there is the choice."""
    found = await asyncio.get_running_loop().getaddrinfo(host, None, type=socket.SOCK_STREAM)
    return str(min(found, key=lambda info: info[0] != socket.AF_INET)[4][0])


def written(host: str, port: int) -> str:
    """As parse_address reads it: "127.0.0.1:5000", "[::1]:5000"."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def not_listening(host: str, port: int, error: OSError, kind: str = "TCP") -> BadInput:
    """Why there is no listening on a port, and what would be right."""
    # Python 3.13's asyncio skips an address that is not ours, and says without a number that none is left.
    if isinstance(error, socket.gaierror) or error.errno in (errno.EADDRNOTAVAIL, None):
        return BadInput(f"{host!r} is not an address of this machine", f"use {LOOPBACK} or 0.0.0.0")
    if error.errno == errno.EADDRINUSE:
        return BadInput(f"{kind} port {port} on {host} is taken", "choose another, or 0 for any free one")
    if error.errno in (errno.EACCES, errno.EPERM):
        return BadInput(f"{kind} port {port} on {host} is not allowed to you", "choose one from 1024 up")
    return BadInput(f"cannot listen on {host}, {kind} port {port}: {error}")


def _paste(host: str, port: int, address: str) -> tuple[tuple[str, str], ...]:
    return (
        ("shell", rf"exec 3<>/dev/tcp/{host}/{port}; printf '\nW\r' >&3; timeout 1 cat -v <&3; exec 3>&-"),
        (
            "pyserial",
            f"""python -c "import serial; p = serial.serial_for_url('socket://{address}', timeout=2); """
            rf"""p.write(b'\nW\r'); print(p.read_until(b'\r'))" """.rstrip(),
        ),
    )
