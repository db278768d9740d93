"""The built-in bench as an instrument under test: its own scale, its own host, the virtual clock."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Plan
from benchsim.ground.commands import InstrumentCommand, Place, Remove, StartFault
from benchsim.ground.readings import Recorded
from benchsim.rules.profile import Profile
from benchsim.verify.reader import Answer, Reading

KEPT_US = 5_000_000


def bench_of(plan: Plan, profile: Profile, seed: int | str) -> Bench:
    """A bench that stands as it was built: of the plan's timeline only faults that begin at 0 act."""
    begun = tuple(s for s in plan.timeline if s.t_us <= 0 and isinstance(s.command, StartFault))
    return Bench(replace(plan, timeline=begun), profile, seed)


class Site:
    """Loads and time on a bench, whoever reads the weight."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._loads = 0

    @property
    def now_us(self) -> int:
        return self._bench.now_us

    def place(self, mass_kg: float, x_m: float, y_m: float) -> int:
        self._loads += 1
        self._bench.do(Place(f"load {self._loads}", mass_kg, x_m, y_m))
        return self._loads

    def take_off(self, load: int) -> None:
        self._bench.do(Remove(f"load {load}"))

    def wait(self, us: int) -> None:
        self._bench.run(self._bench.now_us + us)
        self._bench.trace.forget_before(self._bench.now_us - KEPT_US)


class OnBench(Site):
    """The built-in host's display and keys."""

    def read(self) -> Reading:
        shown = self._bench.indication
        figure = shown.shown_d * shown.interval if shown.shows_figure else None
        return Reading(figure, shown.motion, shown.shows_net)

    def command(self, command: InstrumentCommand) -> Answer:
        outcome = self._bench.do(command)
        return Answer(outcome.done, _figure(outcome.recorded) if outcome.recorded else None)


def _figure(recorded: Recorded) -> Decimal:
    count_d = recorded.net_d if recorded.tare_d else recorded.gross_d
    return count_d * recorded.interval
