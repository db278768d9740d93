"""An orderly end by SIGINT or SIGTERM, from the first moment on.

A signal only leaves a note here, whatever is being imported, read or served; who works looks at the note, or
is told at once.  So there is no instant at which a signal ends the program in another way.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator

SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Stopping:
    """Whether an end was asked for."""

    def __init__(self) -> None:
        self.asked = False
        self._tell: Callable[[], object] | None = None

    def ask(self, *_: object) -> None:
        """Ask for the end.  Fits a signal's handler."""
        self.asked = True
        if self._tell is not None:
            self._tell()

    def tell(self, callback: Callable[[], object] | None) -> None:
        """Whom to call, now if an end was asked for already; None for nobody.

        It is called from a signal's handler: a loop is told by its call_soon_threadsafe.
        """
        self._tell = callback
        if self.asked and callback is not None:
            callback()


@contextlib.contextmanager
def stopped_by_signals() -> Iterator[Stopping]:
    """Signals ask for an orderly end, until the block is left."""
    stopping = Stopping()
    before = {number: signal.signal(number, stopping.ask) for number in SIGNALS}
    try:
        yield stopping
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
