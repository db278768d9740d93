"""Serial: pseudo-terminals, and real ports through pyserial.

A serial line without handshake waits for nobody: what its other end does not take in time is lost, here
as there, but only in whole answers and never silently.  A pseudo-terminal has no parity, no data bits,
no modem lines and no speed of its own; nothing here pretends otherwise.
"""

from __future__ import annotations

import asyncio
import os
import termios
import threading
import tty
from collections.abc import Callable
from pathlib import Path

import serial
from serial.tools import list_ports

from benchsim.ground.errors import BadInput
from benchsim.serve.live import Connection, Guest, House
from benchsim.serve.marked import Marked, mark_damage

PSEUDO = "pty"
DEFAULT_BAUD = 9600
READ_OCTETS = 4096
RETRY_S = 1.0
ANSWERS = "answers"


class Line:
    """What is written to a descriptor that must never make us wait.

    An answer that was begun is ended before another begins; while one is stuck, others are let go whole.
    tell: takes a line when answers begin to be lost and when they pass again.  what: the word for them.
    """

    def __init__(self, descriptor: int, tell: Callable[[str, bool], None], what: str = ANSWERS) -> None:
        self._descriptor = descriptor
        self._tell = tell
        self._what = what
        self._rest = b""
        self._lost = 0
        self._loop = asyncio.get_running_loop()

    def send(self, data: bytes) -> None:
        """Write it, or let it go."""
        if self._rest:
            if not self._lost:
                what = self._what
                self._tell(f"dropped: nobody takes the {what}; they are let go until somebody does", False)
            self._lost += 1
            return
        self._put(data)
        if self._rest:
            self._loop.add_writer(self._descriptor, self._go_on)

    def close(self) -> None:
        """Write nothing more."""
        if self._rest:
            self._loop.remove_writer(self._descriptor)
        self._rest = b""

    def _go_on(self) -> None:
        self._put(self._rest)
        if self._rest:
            return
        self._loop.remove_writer(self._descriptor)
        if self._lost:
            self._tell(f"takes {self._what} again; {self._what} let go: {self._lost}", True)
            self._lost = 0

    def _put(self, data: bytes) -> None:
        try:
            self._rest = data[os.write(self._descriptor, data) :]
        except BlockingIOError:
            self._rest = data
        except OSError:  # unplugged; whoever reads the port finds out and says so
            self._rest = b""


class PseudoTerminal:
    """A pseudo-terminal: its name is the port a client opens.

    A descriptor of the client's end stays open here, so clients may come and go without the line ending.
    """

    def __init__(self, house: House, what: str = ANSWERS) -> None:
        self._house = house
        self._what = what
        self._ours = self._theirs = -1
        self._client: Guest | None = None
        self._line: Line | None = None

    async def open(self) -> Connection:
        """Make it.  Raises BadInput when the machine has none left."""
        try:
            self._ours, self._theirs = os.openpty()
        except OSError as error:
            raise BadInput(f"no pseudo-terminal to be had: {error.strerror}", "end another one") from None
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        name = os.ttyname(self._theirs)
        self._line = Line(self._ours, lambda text, done: self._house.note(name, text, done), self._what)
        self._client = self._house.join(name, self._line.send, "open")
        asyncio.get_running_loop().add_reader(self._ours, self._readable)
        return Connection("serial", name, _paste(name, DEFAULT_BAUD))

    def close(self) -> None:
        """The line ends; a client sees its port hang up."""
        if self._ours < 0 or self._client is None or self._line is None:
            return
        asyncio.get_running_loop().remove_reader(self._ours)
        self._line.close()
        self._house.leave(self._client, "closed: the bench ends")
        os.close(self._theirs)
        os.close(self._ours)
        self._ours = self._theirs = -1

    def _readable(self) -> None:
        try:
            data = os.read(self._ours, READ_OCTETS)
        except BlockingIOError:
            return
        if self._client is not None:
            self._client.heard(data)


class RealPort:
    """A port of this machine, opened by pyserial, 8 data bits, no parity, 1 stop bit.

    One thread reads it and hands octets to the loop.  Pulled out, it is tried again every RETRY_S.
    """

    def __init__(self, house: House, port: str, baud: int = DEFAULT_BAUD, what: str = ANSWERS) -> None:
        self._house = house
        self._what = what
        self._name = port
        self._baud = baud
        self._port: serial.Serial | None = None
        self._client: Guest | None = None
        self._line: Line | None = None
        self._marked = Marked()
        self._thread: threading.Thread | None = None
        self._retry: asyncio.TimerHandle | None = None
        self._loop = asyncio.get_running_loop()

    async def open(self) -> Connection:
        """Open it.  Raises BadInput: it is missing, taken, no serial port, or not allowed."""
        self._plug_in(open_port(self._name, self._baud))
        return Connection("serial", self._name, ())

    def close(self) -> None:
        """Let the port go."""
        if self._retry is not None:
            self._retry.cancel()
        self._let_go("closed: the bench ends", done=True)

    def _plug_in(self, port: serial.Serial) -> None:
        self._port = port
        self._marked = Marked()
        self._line = Line(
            port.fileno(), lambda text, done: self._house.note(self._name, text, done), self._what
        )
        self._client = self._house.join(self._name, self._line.send, "open")
        self._thread = threading.Thread(
            target=_read_on, args=(port, self._loop, self._heard, self._unplugged), daemon=True
        )
        self._thread.start()

    def _let_go(self, why: str, done: bool) -> None:
        port, self._port = self._port, None
        if port is None or self._line is None or self._client is None or self._thread is None:
            return
        self._line.close()
        self._house.leave(self._client, why, done)
        port.cancel_read()
        self._thread.join()
        port.close()

    def _heard(self, port: serial.Serial, data: bytes) -> None:
        if self._client is None or port is not self._port:
            return
        for good in self._marked.feed(data):
            if good is None:
                self._client.spoiled()
            else:
                self._client.heard(good)

    def _unplugged(self, port: serial.Serial, why: str) -> None:
        if port is self._port:
            self._let_go(f"unplugged: {why}", done=False)
            self._retry = self._loop.call_later(RETRY_S, self._try_again)

    def _try_again(self) -> None:
        try:
            port = open_port(self._name, self._baud)
        except BadInput:
            self._retry = self._loop.call_later(RETRY_S, self._try_again)
            return
        self._plug_in(port)


def _read_on(
    port: serial.Serial,
    loop: asyncio.AbstractEventLoop,
    heard: Callable[[serial.Serial, bytes], None],
    unplugged: Callable[[serial.Serial, str], None],
) -> None:
    """Read until the port is cancelled or pulled out.  Runs in the port's own thread."""
    try:
        while data := port.read(1):
            data += port.read(min(port.in_waiting, READ_OCTETS))
            loop.call_soon_threadsafe(heard, port, data)
    except (OSError, TypeError) as error:  # TypeError: pyserial's own, from a port closed beneath a read
        loop.call_soon_threadsafe(unplugged, port, str(error))


def open_port(name: str, baud: int = DEFAULT_BAUD) -> serial.Serial:
    """Open a port for us alone.  Raises BadInput with what is wrong and which ports there are."""
    if not Path(name).exists():
        there = ", ".join(sorted(p.device for p in list_ports.comports())) or "none"
        raise BadInput(f"serial port {name} is not there", f"ports of this machine: {there}; or {PSEUDO}")
    try:
        port = serial.Serial(name, baudrate=baud, timeout=None, exclusive=True)
        mark_damage(port.fileno())
        return port
    except (serial.SerialException, OSError, ValueError, termios.error) as error:
        raise _not_opened(name, error) from None


def _not_opened(name: str, error: Exception) -> BadInput:
    text = str(error)
    if "exclusively lock" in text or "Device or resource busy" in text:
        return BadInput(f"serial port {name} is taken by another program", "end it, or name another port")
    if "Permission denied" in text:
        return BadInput(f"serial port {name} is not allowed to you", "ask for the right to use serial ports")
    return BadInput(f"{name} cannot be opened as a serial port: {text}", "name a serial port")


def _paste(name: str, baud: int) -> tuple[tuple[str, str], ...]:
    # ESC: an earlier client's repeat may still go on.  Read until nothing comes: a flush of the port leaves
    # what waits behind its buffer.  stty: it may have left the line so that reading nothing counts as its end
    shell = (
        rf"stty -F {name} raw -echo; exec 3<>{name}; printf '\033\nW\r' >&3; timeout 1 cat -v <&3; exec 3>&-"
    )
    return (
        ("shell", shell),
        (
            "pyserial",
            f"""python -c "import serial; p = serial.Serial('{name}', {baud}, timeout=0.5); """
            r"""p.write(b'\x1b'); all(iter(lambda: p.read(4096), b'')); """
            r"""p.write(b'\nW\r'); print(p.read_until(b'\r'))" """.rstrip(),
        ),
    )
