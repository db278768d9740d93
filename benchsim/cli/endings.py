"""How a verb ends when it cannot go on: one line on stderr and an exit code that nobody takes for a verdict.

2: what a person wrote cannot be used, or what we print cannot be written.  130: Ctrl-C.  143: SIGTERM.
141: whoever read our output went away.  The last three are 128 and the signal.  Source: common practice of
shells.  Anything else that goes wrong is our bug and keeps its traceback.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import TextIO

import click

UNWRITTEN = 2
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
"""What writing to an output that takes no more comes to; an error with a file's name is another file's."""
NOBODY_READS = 128 + signal.SIGPIPE


class Interrupted(KeyboardInterrupt):
    """A signal that ends the program.  number: which.  line: what is told of it."""

    def __init__(self, number: int, line: str = "stopped") -> None:
        super().__init__(line)
        self.number = number


@contextmanager
def told() -> Iterator[None]:
    """Whatever ends the block becomes SystemExit with a line; what was printed is out, or told as lost."""
    from benchsim.ground.errors import BenchsimError

    try:
        try:
            yield
        finally:
            _flush()
    except BenchsimError as error:
        _end(error.exit_code, lines_of(error))
    except KeyboardInterrupt as error:
        _, *notes = lines_of(error)
        _end(128 + getattr(error, "number", signal.SIGINT), [str(error) or "stopped", *notes])
    except BrokenPipeError:
        _silence()
        raise SystemExit(NOBODY_READS) from None
    except OSError as error:
        if not _silence() and (error.filename is not None or error.errno not in FULL):
            raise
        _end(UNWRITTEN, [f"the output cannot be written: {error.strerror or error}"])


def have_outputs() -> None:
    """A program started without stdout or stderr prints to nobody instead of falling over."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115


def lines_of(error: BaseException) -> list[str]:
    """An error as stderr has it: what is wrong, and what was noted on its way (a recording that is cut)."""
    return [str(error), *getattr(error, "__notes__", ())]


def _end(code: int, lines: list[str]) -> None:
    with suppress(OSError):
        click.echo("\n".join(lines), err=True)
    raise SystemExit(code) from None


def _flush() -> None:
    sys.stdout.flush()
    sys.stderr.flush()


def _silence() -> bool:
    """Whether an output refuses what waits in it.  That goes nowhere then, or Python would try again."""
    refused = False
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            refused = True
            _to_nowhere(stream)
    return refused


def _to_nowhere(stream: TextIO) -> None:
    with suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


class Brake:
    """Ends runs at an instant of their own when a signal comes, or at once when it comes again.

    Between the first and the last report of a run's progress a signal waits for the next report; elsewhere,
    and the second time, it is raised where it comes in.
    """

    def __init__(self) -> None:
        self.number = 0
        self._waits = False
        self._before: dict[int, object] = {}

    def __enter__(self) -> Brake:
        for number in (signal.SIGINT, signal.SIGTERM):
            if signal.getsignal(number) is not signal.SIG_IGN:
                self._before[number] = signal.signal(number, self._came)
        return self

    def __exit__(self, *_: object) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)  # type: ignore[arg-type]  # what signal.signal gave us

    def report(self, now_us: int, ends_us: int) -> bool:
        """Whether the run must stop here.  To be called at its start, on its way, and at its end."""
        self._waits = now_us < ends_us
        return self._waits and bool(self.number)

    def _came(self, number: int, _frame: FrameType | None) -> None:
        again, self.number = bool(self.number), number
        if again or not self._waits:
            raise Interrupted(number)
