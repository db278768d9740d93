"""The bench's time at wall-clock speed.

The wall clock is looked at here alone.  Deadlines are absolute, so an error never adds up; a bench that
falls behind walks on in bounded steps, with the clients served in between, and says how late it is.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

STEP_US = 12_000
MOST_STEPS_AT_ONCE = 8
CLOSE_US = 1_000  # a bench that is no further behind stands at the present
LATE_US = 1_000_000


class Pacer:
    """Calls run(start_us + speed x wall time) every STEP_US of wall time, in the running loop.

    late: takes a line once the bench is LATE_US of wall time behind, and another when it has caught up.
    """

    def __init__(
        self,
        run: Callable[[int], None],
        start_us: int,
        speed: float = 1.0,
        late: Callable[[str], None] = lambda _text: None,
        step_us: int = STEP_US,
    ) -> None:
        self._run = run
        self._start_us = start_us
        self._speed = speed
        self._late = late
        self._step_s = step_us / 1e6
        self._steps = 0
        self._is_late = self._is_walking = False
        self._loop = asyncio.get_running_loop()
        self._done: asyncio.Future[None] = self._loop.create_future()
        self._timer: asyncio.TimerHandle | None = None
        self._begin_s = 0.0
        self._stands_s = 0.0  # of wall time since then: what the bench was walked to

    def start(self) -> asyncio.Future[None]:
        """Begin now.  The future ends when stop is called, or with what the bench raised."""
        self._begin_s = self._loop.time()
        self._timer = self._loop.call_at(self._begin_s + self._step_s, self._walk)
        return self._done

    def stop(self) -> None:
        """Walk no further.  Raises what the bench raised, if it did."""
        if self._timer is not None:
            self._timer.cancel()
        if self._done.done():
            self._done.result()
        else:
            self._done.set_result(None)

    def meanwhile(self, action: Callable[[], object]) -> None:
        """Do something now: the bench is brought up to the present before, if it is not far behind.

        What action raises ends the walk.  Asked for by what the bench itself does (a medium that tells of
        itself while it sends), it comes right after: no walk begins within another.
        """
        if self._done.done():
            return
        if self._is_walking:
            self._loop.call_soon(self.meanwhile, action)
            return
        try:
            if self._timer is not None:
                most_s = (self._steps + MOST_STEPS_AT_ONCE) * self._step_s
                now_s = min(self._loop.time() - self._begin_s, most_s)
                if now_s - self._stands_s > CLOSE_US / 1e6:
                    self._walk_to(now_s)
            self._alone(action)
        except BaseException as error:
            if self._timer is not None:
                self._timer.cancel()
            self._done.set_exception(error)

    @property
    def behind_us(self) -> int:
        """How far the bench is behind, in wall time."""
        return round((self._loop.time() - self._begin_s - self._steps * self._step_s) * 1e6)

    def _walk(self) -> None:
        steps_due = int((self._loop.time() - self._begin_s) / self._step_s + 1e-6)
        self._steps = min(steps_due, self._steps + MOST_STEPS_AT_ONCE)
        try:
            self._walk_to(self._steps * self._step_s)
        except BaseException as error:
            self._done.set_exception(error)
            return
        self._tell()
        self._timer = self._loop.call_at(self._begin_s + (self._steps + 1) * self._step_s, self._walk)

    def _walk_to(self, since_s: float) -> None:
        self._stands_s = max(self._stands_s, since_s)
        until_us = self._start_us + round(since_s * self._speed * 1e6)
        self._alone(lambda: self._run(until_us))

    def _alone(self, action: Callable[[], object]) -> None:
        self._is_walking = True
        try:
            action()
        finally:
            self._is_walking = False

    def _tell(self) -> None:
        behind_us = self.behind_us
        if not self._is_late and behind_us > LATE_US:
            self._is_late = True
            self._late(f"is {behind_us / 1e6:.1f} s behind the clock; a lower speed would suit this machine")
        elif self._is_late and behind_us < LATE_US // 10:
            self._is_late = False
            self._late("has caught up with the clock")
