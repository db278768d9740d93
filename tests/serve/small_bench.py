"""A bench of one number: a load that is put on by hand, indicated ten times a second.

A real object with the behaviour that serving relies on, so that rims can be tested without a scale.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from benchsim.ground.commands import ClearTare, Command, PresetTare, Tare, Zero
from benchsim.ground.readings import Event, Indication, InstrumentCard, LinkState, Outcome
from benchsim.scale.parts import Receptor, Support
from benchsim.serve.session import Scene

UPDATE_US = 100_000
INTERVAL = Decimal(20)
CARD = InstrumentCard("six-cell deck", "1.0", "000001", "vehicle scale", "kg", 3000, INTERVAL)

DECK = Receptor(
    length_m=18.0, width_m=3.0, dead_load_kg=12_000.0, natural_frequency_hz=6.0, damping_ratio=0.08,
    supports=tuple(Support(x_m, y_m, 1e8) for x_m in (0.3, 9.0, 17.7) for y_m in (0.3, 2.7)),
)  # fmt: skip
SCENE = Scene("A small bench", CARD, "scp0499", DECK)

EMPTY = Indication(
    t_us=0, valid=True, reason="", unit="kg", interval=INTERVAL, gross_d=0, tare_d=0, net_d=0,
    tenths_gross_d=0, tenths_net_d=0, shows_net=False, preset_tare=False, motion=False,
    centre_of_zero=True, overload=False, underload=False, zero_error=False, initial_zero_error=False,
    tare_error=False,
)  # fmt: skip


def loaded(gross_d: int, tare_d: int = 0, net: bool = False, motion: bool = False) -> Indication:
    """A steady indication of a load, in counts of d."""
    return replace(
        EMPTY,
        gross_d=gross_d,
        tare_d=tare_d,
        net_d=gross_d - tare_d,
        tenths_gross_d=gross_d * 10,
        tenths_net_d=(gross_d - tare_d) * 10,
        shows_net=net,
        motion=motion,
        centre_of_zero=gross_d == 0,
    )


class Notes:
    """Where the small bench keeps events."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.link_states: list[tuple[int, LinkState]] = []
        self.events_gone = self.link_states_gone = 0

    def happened(self, event: Event) -> None:
        self.events.append(event)

    def forget_before(self, t_us: int, most_events: int | None = None) -> None:
        """What it keeps is little."""


class SmallBench:
    """load_d and moving are set by the test; the commands act on what is shown."""

    def __init__(self) -> None:
        self.now_us = 0
        self.trace = Notes()
        self.load_d = 0
        self.moving = False
        self.loads: tuple[str, ...] = ()
        self.done: list[Command] = []
        self._zero_d = 0
        self._tare_d = 0
        self._net = False
        self._watchers: list[Callable[[Indication], None]] = []
        self.indication = self._shown(0)

    def watch(self, callback: Callable[[Indication], None]) -> None:
        self._watchers.append(callback)

    def run(self, until_us: int) -> None:
        for update_us in range((self.now_us // UPDATE_US + 1) * UPDATE_US, until_us + 1, UPDATE_US):
            self.now_us = update_us
            self.indication = self._shown(update_us)
            for watcher in self._watchers:
                watcher(self.indication)
        self.now_us = max(self.now_us, until_us)

    def do(self, command: Command) -> Outcome:
        if self.moving:
            return Outcome(done=False, reason="in motion")
        self.done.append(command)
        match command:
            case Zero():
                self._zero_d = self.load_d
            case Tare():
                self._tare_d, self._net = self.load_d - self._zero_d, True
            case PresetTare(value):
                self._tare_d, self._net = int(value / INTERVAL), True
            case ClearTare():
                self._tare_d, self._net = 0, False
        self.indication = self._shown(self.now_us)
        return Outcome(done=True)

    def _shown(self, t_us: int) -> Indication:
        shown = loaded(self.load_d - self._zero_d, self._tare_d, self._net, motion=self.moving)
        return replace(shown, t_us=t_us)
