"""TCP from the side that calls: one connection, taken up again with a bounded pause when it breaks."""

from __future__ import annotations

import asyncio
import os

from benchsim.ground.errors import BadInput
from benchsim.serve.live import Connection, House
from benchsim.serve.sockets import Limits, Peer, first_address, parse_address, written

FIRST_PAUSE_S = 0.25
LONGEST_PAUSE_S = 4.0
PATIENCE_S = 5.0  # for one call to be answered
TOLD = ("connected", "closed: the bench ends")


class TcpCaller:
    """A connection to somebody who listens.  The pause doubles from one failed call to the next."""

    def __init__(self, house: House, address: str, limits: Limits) -> None:
        self._house = house
        self._host, self._port = parse_address(address, lowest=1)
        self.limits = limits
        self._peer: Peer | None = None
        self._pause_s = FIRST_PAUSE_S
        self._again: asyncio.Task[None] | None = None
        self._closed = False

    @property
    def address(self) -> str:
        """Whom it calls."""
        return written(self._host, self._port)

    async def open(self) -> Connection:
        """Call.  Raises BadInput: nobody listens there, or there is no such host."""
        try:
            await self._call()
        except OSError as error:
            why = _why(error)
            raise BadInput(
                f"nobody listens on TCP at {self.address} ({why})",
                "start the other end first, or name another",
            ) from None
        return Connection("tcp", self.address, ())

    def close(self) -> None:
        """Hang up for good."""
        self._closed = True
        if self._again is not None:
            self._again.cancel()
        if self._peer is not None:
            self._peer.send_away()

    def came(self, peer: Peer) -> bool:
        """The call was answered."""
        self._peer = peer
        return True

    def left(self, peer: Peer) -> None:
        """The connection broke: call again."""
        self._peer = None
        if not self._closed:
            self._pause_s = FIRST_PAUSE_S
            self._house.note(f"tcp {self.address}", "called again until it answers")
            self._again = asyncio.get_running_loop().create_task(self._call_until_answered())

    async def _call(self) -> None:
        loop = asyncio.get_running_loop()
        async with asyncio.timeout(PATIENCE_S):
            host = await first_address(self._host)
            await loop.create_connection(lambda: Peer(self, self._house, *TOLD), host, self._port)

    async def _call_until_answered(self) -> None:
        while True:
            await asyncio.sleep(self._pause_s)
            self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S)
            try:
                await self._call()
            except OSError:
                continue
            return


def _why(error: OSError) -> str:
    """In the machine's words; asyncio's own repeat the address."""
    if isinstance(error, TimeoutError) or error.errno is None:
        return "no answer"
    return os.strerror(error.errno) if error.errno > 0 else str(error.strerror)
