"""One case in play: frames and time in, frames and acts out, a result at the end.

The same for a device in this process on the virtual clock and for one behind a real medium (run.py, live.py).
"""

from __future__ import annotations

from collections.abc import Coroutine
from dataclasses import dataclass, field
from typing import Any, cast

from benchsim.ground.randomness import Dice
from benchsim.probe.case import UNTOLD, Case
from benchsim.probe.finding import Differs, NotReached, Verdict
from benchsim.probe.line import Act, Line, Said, Until
from benchsim.probe.setting import Setting


@dataclass(frozen=True, slots=True)
class Result:
    """What a case came to.  at: index into said of the frame that shows it, None when no frame does."""

    case: Case
    verdict: Verdict
    why: str = ""
    at: int | None = None
    said: tuple[Said, ...] = field(default=())


class Play:
    """One case being played.  Ask `waits_for` what it waits for; it is None once `result` is there."""

    def __init__(self, case: Case, setting: Setting, dice: Dice, now_us: int) -> None:
        self.case = case
        self.line = Line(setting, dice, now_us)
        self.result: Result | None = None
        self.waits_for: Until | Act | None = None
        if len(setting.addresses) < case.needs:
            self._end(Verdict.NOT_REACHED, f"needs {case.needs} addresses under test")
            return
        if not case.fits(setting):
            self._end(
                Verdict.NOT_REACHED,
                f"it was told {UNTOLD[case.told] if case.told else 'what is in the way of this case'}",
            )
            return
        self._script = cast(Coroutine[Until | Act, Any, None], case.script(self.line))
        self._go_on(None)

    def receive(self, octets: bytes, now_us: int) -> None:
        """The device said a frame."""
        self.line.heard(octets, now_us)
        if isinstance(self.waits_for, Until):
            self._go_on(None)

    def reached(self, now_us: int) -> None:
        """It is this late now."""
        self.line.now_us = now_us
        if isinstance(self.waits_for, Until) and now_us >= self.waits_for.t_us:
            self._go_on(None)

    def acted(self, answer: str | None, now_us: int) -> None:
        """What came of the act that was asked for; None: nobody can do it."""
        self.line.now_us = now_us
        if isinstance(self.waits_for, Act):
            self._go_on(answer)

    def take_out(self) -> list[bytes]:
        """Frames to send now."""
        out, self.line.out = self.line.out, []
        return out

    def break_off(self, why: str) -> None:
        """The medium or the device is gone: the case is not reached."""
        if self.result is None:
            self._script.close()
            self._end(Verdict.NOT_REACHED, why)

    def _go_on(self, answer: str | None) -> None:
        try:
            self.waits_for = self._script.send(answer)
        except StopIteration:
            self._end(Verdict.CONFORMING, "")
        except Differs as found:
            at = self.line.shown_by if found.at is None else found.at
            self._end(Verdict.NOT_CONFORMING, found.why, at)
        except NotReached as error:
            self._end(Verdict.NOT_REACHED, str(error))

    def _end(self, verdict: Verdict, why: str, at: int | None = None) -> None:
        self.waits_for = None
        self.result = Result(self.case, verdict, why, at, tuple(self.line.said))
