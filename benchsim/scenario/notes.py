"""A plan's timeline as a technician would note it: what stood on the deck when, what is due to each cell.

Only what was done at the site is noted, never what became of it: no fault, no truth of a cell.
"""

from __future__ import annotations

from benchsim.bench.plan import Plan
from benchsim.ground.clock import SECOND_US
from benchsim.ground.commands import SITE_COMMANDS, Drive, Move, Place, Remove, SiteCommand
from benchsim.host.diagnosis.parts import Case, Note
from benchsim.host.parts import HostParts
from benchsim.scale.receptor import bearing, dead_shares_kg

_LEAVES_US = 2 * SECOND_US


def case_of(
    plan: Plan, from_us: int = 0, until_us: int | None = None, settings: HostParts | None = None
) -> Case:
    """What a diagnosis is told of this plan, with notes from from_us to until_us (the end).

    settings: what the host is set to; as it was planned when nobody asked it.
    """
    settings = settings or plan.host
    until_us = plan.lasts_us if until_us is None else until_us
    cut = [
        Note(max(n.from_us, from_us), min(n.until_us, until_us), n.cells_kg)
        for n in notes_of(plan)
        if n.from_us < until_us and n.until_us > from_us
    ]
    return Case(
        seats=settings.seats,
        interval=settings.interval,
        rate_hz=settings.rate_hz,
        addresses=tuple(sorted({seat.address for seat in settings.seats})),
        beat_us=plan.link.settings.beat_us,
        notes=tuple(cut),
    )


def notes_of(plan: Plan) -> list[Note]:
    """The loads of the timeline as they stood, one after the other, without a gap up to the plan's end."""
    pad = _Pad(plan)
    for item in plan.timeline:
        if isinstance(item.command, SITE_COMMANDS):
            pad.turn(item.t_us)
            pad.write(item.command, item.t_us)
    pad.turn(plan.lasts_us)
    return pad.notes


class _Pad:
    """Who keeps the notes: what stands, since when, and which vehicles will have left by when."""

    def __init__(self, plan: Plan) -> None:
        receptor = plan.scale.receptor
        self.notes: list[Note] = []
        self._bears, self._dead_kg = bearing(receptor), dead_shares_kg(receptor)
        self._length_m = receptor.length_m
        self._loads: dict[str, tuple[float, ...] | None] = {}
        self._masses_kg: dict[str, float] = {}
        self._leaves: list[tuple[int, str]] = []
        self._since_us = 0

    def write(self, act: SiteCommand, t_us: int) -> None:
        """What is done at the site."""
        match act:
            case Remove():
                self._loads.pop(act.name, None)
            case Drive():
                self._loads[act.name] = None
                if act.stands_us is not None:
                    self._leaves.append((t_us + act.stands_us + _way_us(act, self._length_m), act.name))
            case Place() | Move():
                mass_kg = act.mass_kg if isinstance(act, Place) else self._masses_kg[act.name]
                self._masses_kg[act.name] = mass_kg
                shares = self._bears.shares(act.x_m, act.y_m)
                self._loads[act.name] = tuple(mass_kg * share for share in shares)
            case _:  # it moves or changes, nobody knows how, until it is taken off
                self._loads[act.name] = None

    def turn(self, t_us: int) -> None:
        """A new leaf: what stood up to t_us, vehicles that left in between taken off."""
        for leaves_us, name in sorted(self._leaves):
            if leaves_us <= t_us:
                self._leaf(leaves_us)
                self._loads.pop(name, None)
                self._leaves.remove((leaves_us, name))
        self._leaf(t_us)

    def _leaf(self, t_us: int) -> None:
        if t_us > self._since_us:
            self.notes.append(Note(self._since_us, t_us, _due(list(self._loads.values()), self._dead_kg)))
            self._since_us = t_us


def _due(loads: list[tuple[float, ...] | None], dead_kg: tuple[float, ...]) -> tuple[float, ...] | None:
    """What all of them come to at each cell.  None: one is not known, or the deck would lift off a cell."""
    known = [load for load in loads if load is not None]
    if len(known) < len(loads):
        return None
    due = tuple(sum(load[cell] for load in known) for cell in range(len(dead_kg)))
    return None if any(kg + dead < 0.0 for kg, dead in zip(due, dead_kg, strict=True)) else due


def _way_us(drive: Drive, length_m: float) -> int:
    """At most so long a vehicle is on its way on and off the deck, standing left out."""
    way_m = length_m + max(axle.behind_m for axle in drive.axles)
    moving_s = 2.0 * way_m / drive.speed_m_per_s + 2.0 * drive.speed_m_per_s / drive.acceleration_m_per_s2
    return round(moving_s * SECOND_US) + _LEAVES_US
