"""Whoever attends a device under test and does deliberate acts at it: nobody, a person, or a program.

Acts are words: pair A, release A, restart A, recommission A, state A.  The answer is one line: "done", "soon"
of what shows on the wire when it is done, the state in words, or "cannot".
"""

from __future__ import annotations

import asyncio
import contextlib
import shlex
from collections.abc import Awaitable, Callable
from typing import Protocol

from benchsim.ground.errors import BadInput
from benchsim.probe.line import SOON

CANNOT = "cannot"
ACT_TIMEOUT_S = 10.0
LEAVE_TIMEOUT_S = 3.0
LONGEST_LINE = 4096


class Attendant(Protocol):
    """Who can be asked."""

    @property
    def ended(self) -> bool:
        """Whether whoever attended the device is gone, and most likely the device too."""

    async def act(self, text: str) -> str | None:
        """Do it and say what came of it; None: it cannot be done."""

    async def leave(self) -> None:
        """Nothing more is asked."""


class Nobody:
    """Nobody is there."""

    ended = False

    async def act(self, text: str) -> str | None:
        return None

    async def leave(self) -> None:
        return None


class Person:
    """Somebody at a terminal.  say: shows a line; ask: waits for a typed one, None at the end of input."""

    ended = False

    def __init__(self, say: Callable[[str], None], ask: Callable[[], Awaitable[str | None]]) -> None:
        self._say, self._ask = say, ask

    async def act(self, text: str) -> str | None:
        if text.startswith("state"):
            return None  # what the device shows is told in its own words, not in ours
        soon = text.startswith(("pair", "release"))  # the host speaks at once, no person is that fast
        when = "Enter first, then do it within ten seconds" if soon else "Enter when it is done"
        self._say(f"at the device: {text}.  {when}; n if it cannot be done: ")
        typed = await self._ask()
        if typed is None or typed.strip().lower() in ("n", "no", CANNOT):
            return None
        return SOON if soon else "done"

    async def leave(self) -> None:
        return None


class Program:
    """A program of the user's: an act a line on its stdin, an answer a line on its stdout.

    Its first line may be "at PLACE": where the device can be reached.
    """

    def __init__(self, process: asyncio.subprocess.Process, first: str) -> None:
        self._process = process
        self.place = first.removeprefix("at ").strip() if first.startswith("at ") else None
        self._answers, self._over = True, False

    @property
    def ended(self) -> bool:
        """Whether it is gone."""
        return self._over or self._process.returncode is not None

    async def act(self, text: str) -> str | None:
        """None from the first answer on that does not come in time or is no line: a later one could not be
        told from the answer to the next act."""
        stdin = self._process.stdin
        assert stdin is not None
        if not self._answers:
            return None
        try:
            stdin.write(f"{text}\n".encode())
            await stdin.drain()
            answer = await asyncio.wait_for(self._line(), ACT_TIMEOUT_S)
        except (OSError, TimeoutError, ValueError) as error:  # ValueError: longer than LONGEST_LINE
            self._answers = False
            self._over = isinstance(error, ConnectionError)
            return None
        return None if answer in ("", CANNOT) else answer

    async def _line(self) -> str:
        stdout = self._process.stdout
        assert stdout is not None
        octets = await stdout.readline()
        self._over = not octets
        line = octets.decode(errors="replace").strip()
        return "".join(c if c.isprintable() else "\ufffd" for c in line)  # it is told, and written as XML

    async def leave(self) -> None:
        """Close its stdin; what does not end by itself is ended."""
        process = self._process
        if process.stdin is not None:
            process.stdin.close()
        if not await _ends(process):
            await _end(process)


async def started(command: str) -> Program:
    """Start a program that attends the device, and wait for its first line.  Raises BadInput."""
    try:
        words = shlex.split(command)
    except ValueError as error:
        found = f"the attendant's command {command!r} is no command line ({error})"
        raise BadInput(found, "close each quotation, as in a shell") from None
    if not words:
        raise BadInput("an attendant without a command", "name a program and its arguments")
    pipe = asyncio.subprocess.PIPE
    try:
        process = await asyncio.create_subprocess_exec(*words, stdin=pipe, stdout=pipe, limit=LONGEST_LINE)
    except OSError as error:
        raise BadInput(f"{words[0]}: {error.strerror or error}", "name a program that can be run") from None
    assert process.stdout is not None
    try:
        first = await asyncio.wait_for(process.stdout.readline(), ACT_TIMEOUT_S)
    except (TimeoutError, ValueError):
        first = b""
    if not first:
        await _end(process)
        raise BadInput(f"the attendant {words[0]} says nothing", 'its first line is "at PLACE", or "ready"')
    return Program(process, first.decode(errors="replace").strip())


async def _ends(process: asyncio.subprocess.Process) -> bool:
    """Whether it ends by itself, before long."""
    try:
        await asyncio.wait_for(process.wait(), LEAVE_TIMEOUT_S)
    except TimeoutError:
        return False
    return True


async def _end(process: asyncio.subprocess.Process) -> None:
    """End it: asked to, and before long by force."""
    for end in (process.terminate, process.kill):
        with contextlib.suppress(ProcessLookupError):
            end()
        if await _ends(process):
            return
