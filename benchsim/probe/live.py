"""Plays cases against a device behind a real medium, at wall-clock speed.  The wall clock is looked at here.

One medium stays open for all cases; between two of them whatever still comes is let go.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable

from benchsim.ground.randomness import Streams
from benchsim.probe.attendant import Attendant, Nobody
from benchsim.probe.case import Case
from benchsim.probe.device import called
from benchsim.probe.finding import Verdict
from benchsim.probe.line import Act
from benchsim.probe.play import Play, Result
from benchsim.probe.setting import Setting
from benchsim.serve.carrier import Carrier, Connection

LONGEST_CASE_US = 120_000_000
ENDED = "the attendant has ended"

Attend = Callable[[Connection], Awaitable[Attendant]]


class Medium:
    """An open carrier, the wall clock from its opening on, and whoever listens at the moment."""

    def __init__(self, carrier: Carrier) -> None:
        self.carrier = carrier
        self.attendant: Attendant = Nobody()
        self._loop = asyncio.get_running_loop()
        self._began_s = self._loop.time()
        self._table: _Table | None = None

    @property
    def now_us(self) -> int:
        return round((self._loop.time() - self._began_s) * 1e6)

    def heard(self, frame: bytes) -> None:
        """A frame came from the device."""
        if self._table is not None:
            self._table.heard(frame)

    async def play(self, case: Case, setting: Setting, streams: Streams) -> Result:
        """One case to its end."""
        play = Play(case, setting, streams.child(case.id).dice("probe"), self.now_us)
        self._table = table = _Table(play, self)
        try:
            await table.run()
        finally:
            self._table = None
        assert play.result is not None
        return play.result


class _Table:
    """One play on a medium."""

    def __init__(self, play: Play, medium: Medium) -> None:
        self._play, self._medium = play, medium
        self._stirred = asyncio.Event()
        self._until_us = medium.now_us + LONGEST_CASE_US

    def heard(self, frame: bytes) -> None:
        """Frames are given to the play as they come, unless it waits for an act: then they wait with it."""
        self._play.receive(frame, self._medium.now_us)
        self._send()
        self._stirred.set()

    async def run(self) -> None:
        play, medium = self._play, self._medium
        self._send()
        while play.result is None:
            self._stirred.clear()
            waits = play.waits_for
            if isinstance(waits, Act):
                answer = await self._act(waits.text)
                if medium.attendant.ended:
                    play.break_off(ENDED)
                play.acted(answer, medium.now_us)
            elif medium.now_us >= self._until_us:
                play.break_off("it went on for too long")
            elif waits is not None:
                left_s = (min(waits.t_us, self._until_us) - medium.now_us) / 1e6
                if left_s > 0:
                    await _wait(self._stirred, left_s)
                play.reached(medium.now_us)
            self._send()

    async def _act(self, text: str) -> str | None:
        """Have it done.  A person takes as long as it takes: that is no time of the case."""
        began_us = self._medium.now_us
        answer = await self._medium.attendant.act(text)
        self._until_us += self._medium.now_us - began_us
        return answer

    def _send(self) -> None:
        for frame in self._play.take_out():
            self._medium.carrier.send(frame)


def left_out(case: Case) -> Result:
    """A case for which nobody is there any more."""
    return Result(case, Verdict.NOT_REACHED, ENDED)


async def _wait(event: asyncio.Event, for_s: float) -> None:
    """Until something stirs, or so long."""
    try:
        async with asyncio.timeout(for_s):
            await event.wait()
    except TimeoutError:
        return


async def play_all(
    chosen: Iterable[Case],
    setting: Setting,
    carrier: Carrier,
    attend: Attend,
    streams: Streams,
    tell: Callable[[str], None],
) -> AsyncIterator[Result]:
    """Each case in order, as it ends.  attend: brings the attendant once the carrier is open.

    tell: takes a line about the medium.  Raises BadInput: the carrier cannot open, nobody attends.
    """
    medium = Medium(carrier)
    over = False

    def tell_meanwhile(line: str) -> None:
        if not over:  # that a medium breaks when its device leaves is no news
            tell(line)

    connection = await carrier.open(medium.heard, tell_meanwhile)
    tell(f"the probe is at {called(connection)}")
    try:
        medium.attendant = await attend(connection)
        for case in chosen:
            there = not medium.attendant.ended
            yield await medium.play(case, setting, streams) if there else left_out(case)
            if there and medium.attendant.ended:
                tell(f"{ENDED}: what is left is not reached")
    finally:
        over = True
        await medium.attendant.leave()
        carrier.close()
