"""One end of a medium in a test: what it heard and was told, with bounded waits."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from types import TracebackType

from benchsim.serve.carrier import Connection, Side, make_carrier

PATIENCE_S = 15.0


async def wait_for(true: Callable[[], bool], what: object) -> None:
    """Look until it is true.  Fails, naming what, after PATIENCE_S."""
    async with asyncio.timeout(PATIENCE_S):
        while not true():
            await asyncio.sleep(0.005)
    assert true(), what


class End:
    """A carrier that is open as long as the block lasts."""

    def __init__(self, place: str, side: Side) -> None:
        self.carrier = make_carrier(place, side)
        self.heard: list[bytes] = []
        self.told: list[str] = []
        self.connection = Connection("", "", ())

    async def __aenter__(self) -> End:
        self.connection = await self.carrier.open(self.heard.append, self.told.append)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.carrier.close()
        await asyncio.sleep(0)

    @property
    def other(self) -> str:
        """The place where the other end finds this one."""
        (what, place), *_ = self.connection.paste
        assert what == "other end"
        return place

    def send(self, *frames: bytes) -> None:
        for frame in frames:
            self.carrier.send(frame)

    async def hears(self, *frames: bytes) -> None:
        """Wait until just these were heard, and forget them."""
        await wait_for(lambda: len(self.heard) >= len(frames), f"{frames} of {self.heard}")
        assert self.heard == list(frames)
        self.heard.clear()

    async def is_told(self, text: str) -> None:
        await wait_for(lambda: any(text in line for line in self.told), f"{text!r} in {self.told}")

    async def hears_after_asking(self, other: End, frame: bytes) -> None:
        """Wait until a frame of the other end comes through, which sends it again and again."""
        async with asyncio.timeout(PATIENCE_S):
            while frame not in self.heard:
                other.send(frame)
                await asyncio.sleep(0.05)
