"""Whoever types commands at a live scale: lines of a descriptor, each done at once and told.

One thread reads and hands lines to the loop, so a terminal, a pipe and a file are all the same.  The end of
the input ends the session, as `quit` does.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
from collections.abc import Callable

from benchsim.ground.commands import Command, FaultCommand
from benchsim.ground.errors import BenchsimError
from benchsim.scale.parts import Receptor
from benchsim.serve.live import LiveBench
from benchsim.serve.typed import HELP, Help, Quit, read

READ_OCTETS = 4096
LONGEST_LINE = 1000  # octets; a command has less than 100
STANDARD_INPUT = 0


class Typist:
    """Does what is typed.  say: takes a line for who types, and whether it was done.  end: ends the session.

    news: tells what has happened; called with True when that is the answer to what was typed.
    hides_faults: nobody else tells that a fault began or ended, so who typed it hears "done".
    """

    def __init__(
        self,
        bench: LiveBench,
        receptor: Receptor,
        say: Callable[[str, bool], object],
        end: Callable[[], object],
        news: Callable[[bool], object] = lambda _typed: None,
        hides_faults: bool = False,
    ) -> None:
        self._bench = bench
        self._receptor = receptor
        self._say = say
        self._end = end
        self._news = news
        self._hides_faults = hides_faults

    def typed(self, line: str) -> None:
        """One line came: do it, or tell in one line why not and what would be right."""
        try:
            command = read(line, self._receptor)
            match command:
                case None:
                    return
                case Quit():
                    self._end()
                case Help():
                    for form in HELP:
                        self._say(form, True)
                case _:
                    self._do(command)
        except BenchsimError as error:
            self._refuse(error)

    def _do(self, command: Command) -> None:
        """The bench keeps what came of it, done or refused, as an event; that is told as news."""
        hidden = self._hides_faults and isinstance(command, FaultCommand)
        self._news(False)
        try:
            self._bench.do(command)
        except BenchsimError as error:
            if hidden:
                self._refuse(error)
        else:
            if hidden:
                self._say("done", True)
        self._news(True)

    def _refuse(self, error: BenchsimError) -> None:
        self._say("not done: " + " ".join(str(error).split("\n")), False)

    def listen(self, descriptor: int = STANDARD_INPUT) -> None:
        """Take lines from a descriptor from now on, in the running loop."""
        loop = asyncio.get_running_loop()
        reader = (descriptor, loop, self.typed, self._end)
        threading.Thread(target=_read_on, args=reader, daemon=True).start()


def _read_on(
    descriptor: int,
    loop: asyncio.AbstractEventLoop,
    typed: Callable[[str], None],
    ended: Callable[[], object],
) -> None:
    """Read lines to the end.  Runs in a thread of its own, which may be left waiting when all ends."""
    held = b""
    try:
        while data := os.read(descriptor, READ_OCTETS):
            *lines, held = (held + data).split(b"\n")
            held = held[:LONGEST_LINE]
            for line in lines:
                loop.call_soon_threadsafe(typed, line.decode("utf-8", "replace"))
        if held:
            loop.call_soon_threadsafe(typed, held.decode("utf-8", "replace"))
    except OSError:
        pass  # a terminal that is gone, or none at all: the end of the input
    except RuntimeError:
        return  # the loop has ended first
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(ended)
