"""Plays cases against a device in this process, on the virtual clock: a second of theirs costs no second.

What stands behind Device is not known here: the built-in ends (stand_in.py), or wrong ones in the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Protocol

from benchsim.ground.clock import Queue
from benchsim.ground.randomness import Streams
from benchsim.probe.case import Case
from benchsim.probe.line import Act, Until
from benchsim.probe.play import Play, Result
from benchsim.probe.setting import Setting

# A frame is so long on its way in this process, so that nothing answers at the instant it is asked.
TRANSIT_US = 500
# No case takes so long: one that does waits for ever.
LONGEST_US = 600_000_000


class Device(Protocol):
    """A device under test: a host, or one or several nodes on one medium."""

    def receive(self, frame: bytes, now_us: int) -> None:
        """Hear a frame."""

    def due(self, now_us: int) -> tuple[list[bytes], int | None]:
        """Frames to send now, and when to ask again; None: not before something is heard or done."""

    def act(self, text: str, now_us: int) -> str | None:
        """Do a deliberate act ("pair 1", "restart 1", "state 1"); what came of it, None: not here."""


MakeDevice = Callable[[Setting, Streams], Device]


def run_case(case: Case, setting: Setting, make: MakeDevice, streams: Streams) -> Result:
    """One case against a new device."""
    return _Table(case, setting, make, streams.child(case.id)).run()


def run_cases(
    chosen: Iterable[Case], setting: Setting, make: MakeDevice, streams: Streams
) -> Iterable[Result]:
    """Each case against a device of its own, in order."""
    return (run_case(case, setting, make, streams) for case in chosen)


class _Alarm:
    """At most one live alarm on the queue, the earliest asked for."""

    __slots__ = ("_action", "_queue", "_set_us")

    def __init__(self, queue: Queue, action: Callable[[int], None]) -> None:
        self._queue, self._action = queue, action
        self._set_us: int | None = None

    def at(self, due_us: int) -> None:
        if self._set_us is None or due_us < self._set_us:
            self._set_us = max(due_us, self._queue.now_us)
            self._queue.put(self._set_us, self._ring)

    def _ring(self, now_us: int) -> None:
        if now_us == self._set_us:
            self._set_us = None
            self._action(now_us)


class _Table:
    """A play and a device on one queue."""

    def __init__(self, case: Case, setting: Setting, make: MakeDevice, streams: Streams) -> None:
        self._queue = Queue()
        self._device = make(setting, streams.child("device"))
        self._play = Play(case, setting, streams.dice("probe"), 0)
        self._device_wakes = _Alarm(self._queue, self._send)
        self._play_wakes = _Alarm(self._queue, self._time_passes)

    def run(self) -> Result:
        queue, play = self._queue, self._play
        self._look(0)
        while play.result is None:
            next_us = queue.next_us()
            if next_us is None or next_us > LONGEST_US:
                play.break_off("nothing more happens")
                break
            queue.run(next_us)
        assert play.result is not None
        return play.result

    def _look(self, now_us: int) -> None:
        """Carry what either says, and see to what either waits for."""
        self._send(now_us)
        while isinstance(waits := self._play.waits_for, Act):
            self._play.acted(self._device.act(waits.text, now_us), now_us)
            self._send(now_us)
        if isinstance(waits, Until):
            self._play_wakes.at(waits.t_us)

    def _send(self, now_us: int) -> None:
        for frame in self._play.take_out():
            self._queue.put(now_us + TRANSIT_US, partial(self._device_hears, frame))
        frames, next_us = self._device.due(now_us)
        for frame in frames:
            self._queue.put(now_us + TRANSIT_US, partial(self._probe_hears, frame))
        if next_us is not None:
            self._device_wakes.at(next_us)

    def _device_hears(self, frame: bytes, now_us: int) -> None:
        self._device.receive(frame, now_us)
        self._send(now_us)

    def _probe_hears(self, frame: bytes, now_us: int) -> None:
        self._play.receive(frame, now_us)
        self._look(now_us)

    def _time_passes(self, now_us: int) -> None:
        self._play.reached(now_us)
        self._look(now_us)
