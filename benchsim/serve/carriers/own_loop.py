"""Work in a thread and loop of its own: it can be ended in good order, and waits for no slow bench."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable, Coroutine
from typing import Any

PATIENCE_S = 3.0


class OwnLoop:
    """One coroutine in a loop of its own, from start to stop.

    Errors of the loop's other callbacks go nowhere: they come from libraries that leave tasks behind.
    """

    def __init__(self, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
        self._work = work
        self._running = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Begin; returns once the loop takes calls."""
        self._thread.start()
        self._running.wait(PATIENCE_S)

    def call(self, function: Callable[..., object], *args: object) -> None:
        """Call a function in that loop; nothing once it has ended."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # it has ended this moment
                self._loop.call_soon_threadsafe(function, *args)

    def stop(self) -> None:
        """Cancel the work and wait, not for long, until it has ended."""
        if self._task is not None:
            self.call(self._task.cancel)
        self._thread.join(PATIENCE_S)

    def _run(self) -> None:
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            loop = runner.get_loop()
            loop.set_exception_handler(lambda _loop, _context: None)
            with contextlib.suppress(asyncio.CancelledError):
                runner.run(self._main(loop))

    async def _main(self, loop: asyncio.AbstractEventLoop) -> None:
        self._task = loop.create_task(self._work())
        self._loop = loop
        self._running.set()
        await self._task
