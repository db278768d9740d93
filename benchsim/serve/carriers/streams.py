"""Streams: a rim of the bench (listener, caller, pseudo-terminal, port) with frames on it instead of lines.

What a rim puts up with (somebody who takes nothing, a port pulled out) is the rim's; each frame is
COBS-encoded and ended by 0x00 (protocols/nodelink, section 1).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchsim.serve.carriers.medium import OTHER_END, Heard, Tell, Wire
from benchsim.serve.live import Connection, House, Rim
from benchsim.serve.sockets import Limits

# Frames do not wait for a question, so more of them may be on the way than of a client's answers.
LIMITS = Limits(unread_octets=65_536, patience_s=5.0, clients=16)


class StreamCarrier:
    """Frames on a rim.

    make_rim: the rim for a house.  other_end: "tcp" for the place tcp:ADDRESS where the other end finds this
    one, "" when it is nowhere to be found from there.
    """

    def __init__(self, make_rim: Callable[[House], Rim], other_end: str = "") -> None:
        self._make_rim = make_rim
        self._other_end = other_end
        self._rim: Rim | None = None
        self._wire: Wire | None = None

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Open the rim.  Raises BadInput when it cannot be."""
        wire = Wire(heard, tell)
        rim = self._make_rim(wire)
        connection = await rim.open()
        self._wire, self._rim = wire, rim
        place = f"{self._other_end}:{connection.address}"
        return replace(connection, paste=((OTHER_END, place),) if self._other_end else ())

    def send(self, frame: bytes) -> None:
        """To everybody here."""
        if self._wire is not None:
            self._wire.send(frame)

    def close(self) -> None:
        """Close the rim; whoever is here leaves."""
        if self._rim is not None:
            self._rim.close()
        self._rim = self._wire = None
