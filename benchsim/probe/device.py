"""A built-in end behind a real medium, as a device under test in a process of its own.

It shows how a device and its attendant play together: the place on the first line, then an answer a line for
each act that is asked for.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from benchsim.probe.attendant import CANNOT
from benchsim.probe.run import Device
from benchsim.serve.carrier import Carrier, Connection


class Behind:
    """A device and its carrier: frames both ways, and one alarm."""

    def __init__(self, device: Device, carrier: Carrier) -> None:
        self._device, self._carrier = device, carrier
        self._loop = asyncio.get_running_loop()
        self._began_s = self._loop.time()
        self._alarm: asyncio.TimerHandle | None = None

    @property
    def now_us(self) -> int:
        return round((self._loop.time() - self._began_s) * 1e6)

    def heard(self, frame: bytes) -> None:
        """A frame came."""
        self._device.receive(frame, self.now_us)
        self.work()

    def act(self, text: str) -> str:
        """Do what the attendant was asked for."""
        answer = self._device.act(text, self.now_us)
        self.work()
        return CANNOT if answer is None else answer

    def work(self) -> None:
        """Send what is due, and wake when more is."""
        if self._alarm is not None:
            self._alarm.cancel()
            self._alarm = None
        now_us = self.now_us
        frames, next_us = self._device.due(now_us)
        for frame in frames:
            self._carrier.send(frame)
        if next_us is not None:
            self._alarm = self._loop.call_later(max(0, next_us - now_us) / 1e6, self.work)

    def stop(self) -> None:
        """Work no more."""
        if self._alarm is not None:
            self._alarm.cancel()


async def stand_in(
    device: Device,
    carrier: Carrier,
    lines: asyncio.Queue[str | None],
    say: Callable[[str], None],
) -> None:
    """Put a device behind a carrier until its lines end.  lines: acts; say: takes answers."""
    behind = Behind(device, carrier)
    connection = await carrier.open(behind.heard, lambda _line: None)
    try:
        say(f"at {called(connection)}")
        behind.work()
        while (text := await lines.get()) is not None:
            say(behind.act(text.strip()))
    finally:
        behind.stop()
        carrier.close()


def called(connection: Connection) -> str:
    """The place at which somebody else reaches what listens here."""
    return f"{connection.kind}:{connection.address}"
