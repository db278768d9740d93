"""MQTT: a frame a message, QoS 0, not retained, by way of somebody's broker.

Topics: PREFIX/to-nodes for what the host's end sends, PREFIX/to-host for what the nodes' end sends.  The
client library is loaded when a carrier is made, not before.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import re
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING

from benchsim.ground.errors import BadInput
from benchsim.link.limits import LONGEST_FRAME
from benchsim.serve.carriers.medium import Heard, Intake, Side, Tell
from benchsim.serve.carriers.own_loop import OwnLoop
from benchsim.serve.live import Connection
from benchsim.serve.sockets import parse_address, written

if TYPE_CHECKING:
    import aiomqtt

PATIENCE_S = 5.0
FIRST_PAUSE_S = 0.25
LONGEST_PAUSE_S = 4.0
MOST_WAITING = 1_000  # frames that a broker has not taken yet; the oldest are let go
QUIET = logging.getLogger("benchsim.serve.mqtt")
REFUSED = 0x80  # in place of a quality of service: MQTT 3.1.1 (OASIS), 3.9.3
TO_NODES, TO_HOST = "to-nodes", "to-host"


@dataclass(frozen=True, slots=True)
class MqttPlace:
    """A broker and where on it.  port 0: any free one, for a broker that is brought along."""

    host: str
    port: int
    prefix: str

    @property
    def text(self) -> str:
        return f"{written(self.host, self.port)}/{self.prefix}"


def parse_place(text: str, lowest_port: int = 1) -> MqttPlace:
    """ "127.0.0.1:1883/plant/scale-1" to host, port and prefix.  Raises BadInput."""
    address, slash, prefix = text.partition("/")
    levels = prefix.split("/")
    if not slash or not all(levels) or any(c in prefix for c in "+#\0") or len(prefix.encode()) > 1000:
        raise BadInput(
            f"{text!r} has no topic prefix",
            "write [HOST:]PORT/PREFIX, the prefix without +, # and empty levels",
        )
    return MqttPlace(*parse_address(address, "MQTT", lowest_port), prefix)


def need(package: str, extra: str) -> None:
    """Raises BadInput when a library of an extra is not installed."""
    if find_spec(package) is None:
        raise BadInput(f"MQTT needs {package}, which is not installed", f"pip install 'benchsim[{extra}]'")


class MqttCarrier:
    """A client of a broker.  A connection that breaks is taken up again, with a pause that doubles.

    It has its own thread; frames pass between the loops in bounded queues.  Raises BadInput when the client
    library is missing.
    """

    def __init__(self, place: MqttPlace, side: Side) -> None:
        need("aiomqtt", "mqtt")
        self._place = place
        self._name = f"mqtt {place.text}"
        own, other = (TO_NODES, TO_HOST) if side is Side.HOST else (TO_HOST, TO_NODES)
        self._out, self._in = f"{place.prefix}/{own}", f"{place.prefix}/{other}"
        self._to_send: deque[bytes] = deque(maxlen=MOST_WAITING)
        self._to_hear: deque[bytes] = deque(maxlen=MOST_WAITING)
        self._there = self._full = False
        self._own_loop: OwnLoop | None = None

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Connect and subscribe.  Raises BadInput: no broker there, or it lets nobody in, or read."""
        self._loop = asyncio.get_running_loop()
        self._tell = tell
        self._intake = Intake(self._name, heard, tell)
        first: Future[None] = Future()
        self._own_loop = OwnLoop(lambda: self._work(first))
        self._own_loop.start()
        await asyncio.wrap_future(first)
        return Connection("mqtt", self._place.text, ())

    def send(self, frame: bytes) -> None:
        """To the broker, as soon as it takes it."""
        if self._own_loop is None or not self._there:
            return
        if len(self._to_send) == MOST_WAITING and not self._full:
            self._full = True
            self._tell(f"{self._name}: takes no more; beyond {MOST_WAITING} frames the oldest are let go")
        self._to_send.append(frame)
        self._own_loop.call(self._more.set)

    def close(self) -> None:
        """Leave the broker."""
        if self._own_loop is not None:
            self._own_loop.stop()
        self._own_loop, self._there = None, False

    # -- in the bench's loop -------------------------------------------------------------------------

    def _came(self) -> None:
        self._to_send.clear()
        self._there, self._full = True, False
        self._tell(f"{self._name}: connected")

    def _broke(self, why: str) -> None:
        self._there = False
        self._tell(f"{self._name}: gone ({why}); called again until it answers")

    def _hear(self) -> None:
        while self._to_hear:
            self._intake.take(self._to_hear.popleft())

    # -- in its own loop -----------------------------------------------------------------------------

    def _outside(self, function: Callable[..., object], *args: object) -> None:
        with contextlib.suppress(RuntimeError):  # the bench's loop has ended first
            self._loop.call_soon_threadsafe(function, *args)

    async def _work(self, first: Future[None]) -> None:
        try:
            await self._stay(first)
        except Exception as error:
            if first.done():
                raise
            first.set_exception(error)

    async def _stay(self, first: Future[None]) -> None:
        """Connect again and again; the first connection, or why there is none, is told to first."""
        import aiomqtt

        QUIET.setLevel(logging.CRITICAL)  # the library's warnings are many; what matters is told here
        self._more = asyncio.Event()
        pause_s = FIRST_PAUSE_S
        while True:
            try:
                async with aiomqtt.Client(
                    self._place.host, self._place.port, logger=QUIET, timeout=PATIENCE_S,
                    max_queued_incoming_messages=MOST_WAITING,
                ) as client:  # fmt: skip
                    granted = await client.subscribe(self._in)
                    if any(code == REFUSED for code in granted):
                        raise aiomqtt.MqttError(f"it does not let us read {self._in}")
                    pause_s = FIRST_PAUSE_S
                    self._outside(self._came)
                    if not first.done():
                        first.set_result(None)
                    await self._carry(client)
            except (aiomqtt.MqttError, OSError) as error:
                if not first.done():
                    raise BadInput(
                        f"no MQTT broker to use at {self._place.text} ({_why(error)})",
                        "start one, or name another",
                    ) from None
                if pause_s == FIRST_PAUSE_S:
                    self._outside(self._broke, _why(error))
            await asyncio.sleep(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    async def _carry(self, client: aiomqtt.Client) -> None:
        """Both ways, until the connection breaks."""
        sending = asyncio.create_task(self._send_on(client))
        try:
            async for message in client.messages:
                payload = message.payload
                if isinstance(payload, bytes) and 0 < len(payload) <= LONGEST_FRAME and not message.retain:
                    self._to_hear.append(payload)
                    self._outside(self._hear)
        finally:
            sending.cancel()

    async def _send_on(self, client: aiomqtt.Client) -> None:
        import aiomqtt

        while True:
            await self._more.wait()
            self._more.clear()
            while self._to_send:
                try:
                    await client.publish(self._out, self._to_send.popleft(), qos=0)
                except aiomqtt.MqttError:
                    return  # who hears messages finds out and says so


def _why(error: Exception) -> str:
    """The library's words, or the machine's without their number."""
    return re.sub(r"^\[Errno \d+\] ", "", str(error))
