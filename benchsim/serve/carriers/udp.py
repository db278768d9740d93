"""UDP: a frame a datagram, bare.

Whoever calls talks to one address.  Who listens answers everybody it has heard from lately: at most
MOST_PEERS, each until FORGET_S after its last whole frame; one more takes the place of who has been silent
longest.  What the machine takes no more of is let go, as on any way without a handshake.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import cast

from benchsim.ground.errors import BadInput
from benchsim.link.data import whole
from benchsim.link.limits import LONGEST_FRAME
from benchsim.serve.carriers.medium import OTHER_END, Heard, Intake, Tell
from benchsim.serve.live import Connection
from benchsim.serve.sockets import first_address, is_loopback, not_listening, parse_address, written

MOST_PEERS = 16
FORGET_S = 300.0  # longer than 4 of the longest beats: who is still waited for is not forgotten

Address = tuple[str | int, ...]


class Datagrams(asyncio.DatagramProtocol):
    """One socket: frames go to an address, or are let go while the machine takes no more.

    came: takes a datagram and where it comes from.  lost: hears that a datagram found nobody.
    """

    def __init__(self, came: Callable[[bytes, Address], None], lost: Callable[[], None]) -> None:
        self._came = came
        self._lost = lost
        self._full = False
        self._transport: asyncio.DatagramTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.DatagramTransport, transport)  # by name it is one only since 3.12

    def datagram_received(self, data: bytes, addr: Address) -> None:
        if 0 < len(data) <= LONGEST_FRAME:
            self._came(data, addr)

    def error_received(self, exc: Exception) -> None:
        self._lost()

    def pause_writing(self) -> None:
        self._full = True

    def resume_writing(self) -> None:
        self._full = False

    def put(self, frame: bytes, to: Address | None = None) -> None:
        """Send; to: None for the address of a connected socket."""
        if self._transport is not None and not self._full and not self._transport.is_closing():
            self._transport.sendto(frame, to)

    @property
    def address(self) -> str:
        """Its own."""
        assert self._transport is not None
        host, port = self._transport.get_extra_info("sockname")[:2]
        return written(host, port)

    def close(self) -> None:
        if self._transport is not None:
            self._transport.close()


class UdpListener:
    """A bound socket, and who was heard from lately."""

    def __init__(self, address: str) -> None:
        self._host, self._port = parse_address(address, "UDP")
        self._socket: Datagrams | None = None
        self._peers: dict[Address, tuple[Intake, float]] = {}  # who was silent longest stands first

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Bind.  Raises BadInput: taken, not allowed, not this machine's."""
        self._heard, self._tell, self._loop = heard, tell, asyncio.get_running_loop()
        self._strangers = Intake("udp: senders of no whole frame", heard, tell)
        try:
            host = await first_address(self._host)
            _, self._socket = await self._loop.create_datagram_endpoint(
                lambda: Datagrams(self._came, lambda: None), (host, self._port)
            )
        except OSError as error:
            raise not_listening(self._host, self._port, error, "UDP") from None
        address = self._socket.address
        if not is_loopback(host):
            tell(f"udp {address}: can be reached from other machines")
        return Connection("udp", address, ((OTHER_END, f"udp:{address}"),))

    def send(self, frame: bytes) -> None:
        """To everybody heard from lately."""
        self._forget()
        if self._socket is not None:
            for peer in self._peers:
                self._socket.put(frame, peer)

    def close(self) -> None:
        """Listen no more."""
        if self._socket is not None:
            self._socket.close()
        self._socket = None
        self._peers.clear()

    def _came(self, data: bytes, peer: Address) -> None:
        known = self._peers.get(peer)
        if not whole(data):  # whoever sends no whole frame is answered nothing
            (self._strangers if known is None else known[0]).take(data)
            return
        if known is None:
            name = _name(peer)
            self._room_for_one()
            intake = Intake(name, self._heard, self._tell)
            self._tell(f"{name}: came")
        else:
            intake = known[0]
            del self._peers[peer]
        self._peers[peer] = intake, self._loop.time()
        intake.take(data)

    def _forget(self) -> None:
        old_s = self._loop.time() - FORGET_S
        for peer in [peer for peer, (_, at_s) in self._peers.items() if at_s < old_s]:
            del self._peers[peer]
            self._tell(f"{_name(peer)}: forgotten: silent for more than {FORGET_S:g} s")

    def _room_for_one(self) -> None:
        if len(self._peers) >= MOST_PEERS:
            peer = next(iter(self._peers))
            del self._peers[peer]
            self._tell(f"{_name(peer)}: forgotten: {MOST_PEERS} others were heard since")


class UdpCaller:
    """A socket that talks to one address.  Nobody need be there yet: datagrams get lost, and that is told."""

    def __init__(self, address: str) -> None:
        self._host, self._port = parse_address(address, "UDP", lowest=1)
        self._socket: Datagrams | None = None
        self._unheard = False

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Take a socket.  Raises BadInput: there is no such host, or no way to it."""
        self._tell = tell
        self._name = written(self._host, self._port)
        self._intake = Intake(f"udp {self._name}", heard, tell)
        loop = asyncio.get_running_loop()
        try:
            host = await first_address(self._host)
            _, self._socket = await loop.create_datagram_endpoint(
                lambda: Datagrams(self._came, self._lost), remote_addr=(host, self._port)
            )
        except OSError as error:
            why = error.strerror or str(error)
            raise BadInput(f"UDP to {self._name} cannot be sent ({why})", "name another host") from None
        return Connection("udp", self._name, ())

    def send(self, frame: bytes) -> None:
        """To the address."""
        if self._socket is not None:
            self._socket.put(frame)

    def close(self) -> None:
        """Talk no more."""
        if self._socket is not None:
            self._socket.close()
        self._socket = None

    def _came(self, data: bytes, _peer: Address) -> None:
        if self._unheard:
            self._unheard = False
            self._tell(f"udp {self._name}: is there again")
        self._intake.take(data)

    def _lost(self) -> None:
        if not self._unheard:
            self._unheard = True
            self._tell(f"udp {self._name}: nobody listens there; frames get lost until somebody does")


def _name(peer: Address) -> str:
    return f"udp {written(str(peer[0]), int(peer[1]))}"
