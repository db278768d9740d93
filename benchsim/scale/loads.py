"""What stands on the receptor: everything that puts a mass on or takes one off is here.

A deck is what holds between two changes (history.py keeps those of the past).  A change at t_us shows in what
lies after t_us.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import (
    Discharge,
    Drive,
    Fill,
    Move,
    Place,
    Remove,
    Roam,
    SiteCommand,
    Walk,
)
from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.randomness import Streams
from benchsim.scale.bulk import Bulk
from benchsim.scale.creatures import Animal, Walker
from benchsim.scale.parts import Receptor
from benchsim.scale.receptor import bearing
from benchsim.scale.ride import forward_kg
from benchsim.scale.unrest import Unrest
from benchsim.scale.vehicle import Vehicle

Floats = NDArray[np.float64]
Sums = tuple[Floats, Floats, Floats]

# Wide limits that keep what is computed finite, and slips of the pen out.
LARGEST_KG, LONGEST_M, FASTEST_M_PER_S = 1e9, 1e4, 100.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A load that was put down."""

    name: str
    mass_kg: float
    x_m: float
    y_m: float


Moving = Vehicle | Walker | Bulk | Animal
Load = Standing | Moving


@dataclass(frozen=True, slots=True)
class Deck:
    """The receptor, what is on it and what shakes it, until the next change."""

    receptor: Receptor
    loads: tuple[Load, ...] = ()
    unrest: Unrest | None = None
    streams: Streams = field(default_factory=lambda: Streams(0))

    def sums(self, t_us: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """Mass, mass times x, mass times y of all that is on the receptor at those instants."""
        mass_kg, x_kg_m, y_kg_m = self.rolling(t_us)
        standing_kg, standing_x_kg_m, standing_y_kg_m = self.standing()
        return mass_kg + standing_kg, x_kg_m + standing_x_kg_m, y_kg_m + standing_y_kg_m

    def standing(self) -> tuple[float, float, float]:
        """The same of the loads that were put down."""
        mass_kg = x_kg_m = y_kg_m = 0.0
        for load in self.loads:
            if isinstance(load, Standing):
                mass_kg += load.mass_kg
                x_kg_m += load.mass_kg * load.x_m
                y_kg_m += load.mass_kg * load.y_m
        return mass_kg, x_kg_m, y_kg_m

    def moves(self, t_us: int) -> bool:
        """Whether anything is on its way at that instant."""
        return self.unrest is not None or any(not load.is_gone(t_us) for load in self.moving)

    def pressing(self, t_us: NDArray[np.int64]) -> Sums:
        """The sums of what loads that move press on the deck with, their swing included.  t_us: rising."""
        sums = np.zeros(len(t_us)), np.zeros(len(t_us)), np.zeros(len(t_us))
        for load in self.moving:
            if len(t_us) and not load.is_gone(int(t_us[0])):
                load.press_on(sums, t_us)
        return sums

    def rolling(self, t_us: NDArray[np.int64]) -> Sums:
        """The same of their true masses.  t_us: rising."""
        sums = np.zeros(len(t_us)), np.zeros(len(t_us)), np.zeros(len(t_us))
        for load in self.moving:
            if len(t_us) and not load.is_gone(int(t_us[0])):
                load.add_to(sums, t_us)
        return sums

    @property
    def moving(self) -> tuple[Moving, ...]:
        """The loads that move, or can."""
        return tuple(load for load in self.loads if not isinstance(load, Standing))

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        """What comes on or goes off at once at first_us or later, before end_us: when, mass added, x, y."""
        found = [step for load in self.moving for step in load.steps(first_us, end_us)]
        return sorted(found, key=lambda step: step[0])

    def next_motion_us(self, t_us: int) -> int | None:
        """The first instant from t_us on at which something moves; None: all stands."""
        if self.unrest is not None:
            return t_us
        moves = [load.next_motion_us(t_us) for load in self.moving]
        return min((m for m in moves if m is not None), default=None)

    def present(self, t_us: int) -> tuple[Load, ...]:
        """The loads without those that have left by t_us."""
        return tuple(load for load in self.loads if isinstance(load, Standing) or not load.is_gone(t_us))

    def after(self, command: SiteCommand, t_us: int) -> Deck:
        """The deck after a command.

        Raises BadInput: a name that is taken or unknown, a place off the receptor or where a load would tip
        it over, a mass, a speed, a stop or an axle that cannot be.
        """
        here = self.present(t_us)
        match command:
            case Place(name, mass_kg, x_m, y_m):
                _check_free(name, here)
                _check_range(f"load {name!r}: mass", mass_kg, 0.0, LARGEST_KG, "kg")
                self._check_on(name, x_m, y_m)
                return replace(self, loads=(*here, Standing(name, mass_kg, x_m, y_m)))
            case Move(name, x_m, y_m):
                load = _find(name, here)
                if not isinstance(load, Standing):
                    raise BadInput(f"{name!r} is {_kind(load)}", "only a load that was put down is moved")
                self._check_on(name, x_m, y_m)
                return replace(self, loads=_swap(here, load, replace(load, x_m=x_m, y_m=y_m)))
            case Remove(name):
                load = _find(name, here)
                away = load.sent_away(t_us) if isinstance(load, Vehicle) else None
                return replace(self, loads=_swap(here, load, away))
            case Drive():
                _check_free(command.name, here)
                self._check_drive(command)
                vehicle = Vehicle.arrive(command, self.receptor.length_m, t_us)
                return replace(self, loads=(*here, vehicle))
            case _:
                return self._joined_by(command, here, t_us)

    def _joined_by(self, command: Walk | Fill | Discharge | Roam, here: tuple[Load, ...], t_us: int) -> Deck:
        """The deck after something that moves by itself has come, or bulk has begun to run."""
        match command:
            case Walk():
                _check_free(command.name, here)
                self._check_walk(command)
                return replace(self, loads=(*here, Walker.arrive(command, self.receptor.length_m, t_us)))
            case Fill():
                return replace(self, loads=self._filled(command, here, t_us))
            case Discharge(name, rate_kg_per_s, mass_kg):
                bulk = _find(name, here)
                if not isinstance(bulk, Bulk):
                    raise BadInput(f"{name!r} is {_kind(bulk)}", "only what was filled is discharged")
                _check_range(f"bulk {name!r}: rate", rate_kg_per_s, 0.0, LARGEST_KG, "kg/s")
                if mass_kg is not None:
                    _check_range(f"bulk {name!r}: mass", mass_kg, 0.0, LARGEST_KG, "kg")
                return replace(self, loads=_swap(here, bulk, bulk.emptied(command, t_us)))
            case Roam():
                _check_free(command.name, here)
                _check_range(f"animal {command.name!r}: mass", command.mass_kg, 0.0, LARGEST_KG, "kg")
                _check_span(f"animal {command.name!r}: reach", command.reach_m, 0.0, LONGEST_M, "m")
                _check_span(f"animal {command.name!r}: restless", command.restless, 0.0, 1.0, "of its weight")
                self._check_on(command.name, command.x_m, command.y_m)
                return replace(self, loads=(*here, Animal.arrive(command, self.receptor, self.streams, t_us)))

    def _filled(self, fill: Fill, here: tuple[Load, ...], t_us: int) -> tuple[Load, ...]:
        name = f"bulk {fill.name!r}"
        _check_range(f"{name}: mass", fill.mass_kg, 0.0, LARGEST_KG, "kg")
        _check_range(f"{name}: rate", fill.rate_kg_per_s, 0.0, LARGEST_KG, "kg/s")
        _check_span(f"{name}: fall", fill.fall_m, 0.0, 1_000.0, "m")
        _check_span(f"{name}: dribble", fill.dribble_kg, 0.0, fill.mass_kg, "kg")
        if fill.dribble_kg:
            _check_range(f"{name}: dribble rate", fill.dribble_rate_kg_per_s, 0.0, LARGEST_KG, "kg/s")
        there = next((load for load in here if load.name == fill.name), None)
        if there is None:
            self._check_on(fill.name, fill.x_m, fill.y_m)
            return (*here, Bulk.begun(fill, t_us))
        if not isinstance(there, Bulk):
            raise BadInput(f"{fill.name!r} is {_kind(there)}", "another name, or remove it first")
        return _swap(here, there, there.filled(fill, t_us))

    def _check_walk(self, walk: Walk) -> None:
        name = f"walker {walk.name!r}"
        _check_range(f"{name}: mass", walk.mass_kg, 0.0, LARGEST_KG, "kg")
        _check_range(f"{name}: speed", walk.speed_m_per_s, 0.01, FASTEST_M_PER_S, "m/s")
        _check_range(f"{name}: pace", walk.pace_hz, 0.1, 10.0, "steps a second")
        _check_span(f"{name}: dynamic", walk.dynamic, 0.0, 1.0, "of the weight")
        for x_m in (0.0, self.receptor.length_m):
            self._check_on(walk.name, x_m, walk.y_m)

    def _check_on(self, name: str, x_m: float, y_m: float) -> None:
        length_m, width_m = self.receptor.length_m, self.receptor.width_m
        if not (0.0 <= x_m <= length_m and 0.0 <= y_m <= width_m):
            raise BadInput(
                f"load {name!r} at {x_m:g} m, {y_m:g} m is off the receptor",
                f"0 to {length_m:g} m along and 0 to {width_m:g} m across",
            )
        line = bearing(self.receptor).line
        if line is not None and line.distance_m(x_m, y_m) > line.beside_m:
            nearest = " m, ".join(f"{v:.6g}" for v in line.nearest(x_m, y_m))
            raise BadInput(
                f"load {name!r} would tip the receptor over: it stands {line.distance_m(x_m, y_m):.3g} m"
                " beside the line of its supports",
                f"at most {1000.0 * line.beside_m:g} mm beside it, as at {nearest} m",
            )

    def _check_drive(self, drive: Drive) -> None:
        name = f"vehicle {drive.name!r}"
        if not drive.axles:
            raise BadInput(f"{name} has no axle", "one axle or more")
        _check_range(f"{name}: speed", drive.speed_m_per_s, 0.01, FASTEST_M_PER_S, "m/s")
        _check_range(f"{name}: acceleration", drive.acceleration_m_per_s2, 0.01, 100.0, "m/s2")
        for number, axle in enumerate(drive.axles, 1):
            _check_range(f"{name}: mass of axle {number}", axle.mass_kg, 0.0, LARGEST_KG, "kg")
            if not 0.0 <= axle.behind_m <= LONGEST_M:
                raise BadInput(
                    f"{name}: axle {number} stands {axle.behind_m:g} m behind the first",
                    f"0 to {LONGEST_M:g} m",
                )
        if drive.stands_us is not None and drive.stands_us < 0:
            raise BadInput(f"{name} stands {drive.stands_us} us", "0 or more, or none to stand until removed")
        _check_ride(name, drive)
        if drive.begins_m is None:
            _check_stop(name, drive, self.receptor.length_m)
        self._check_way(drive)

    def _check_way(self, drive: Drive) -> None:
        """Its whole way, from end to end of the receptor."""
        line, length_m = bearing(self.receptor).line, self.receptor.length_m
        self._check_width(drive)
        if line is None:
            return
        farthest_m = max(line.distance_m(x_m, drive.y_m) for x_m in (0.0, length_m))
        if farthest_m > line.beside_m:
            across_m = line.nearest(0.5 * length_m, 0.5 * self.receptor.width_m)[1]
            runs_along = abs(line.dy_m) * length_m <= line.beside_m * abs(line.dx_m)
            raise BadInput(
                f"vehicle {drive.name!r} at {drive.y_m:g} m across would tip the receptor over: it comes"
                f" {farthest_m:.3g} m beside the line of its supports",
                f"{across_m:.6g} m across" if runs_along else "supports that do not stand on one line",
            )

    def _check_width(self, drive: Drive) -> None:
        if not 0.0 <= drive.y_m <= self.receptor.width_m:
            raise BadInput(
                f"vehicle {drive.name!r} at {drive.y_m:g} m across is off the receptor",
                f"0 to {self.receptor.width_m:g} m across",
            )


def _check_ride(name: str, drive: Drive) -> None:
    _check_span(f"{name}: springs", drive.springs_hz, 0.0, 20.0, "Hz")
    _check_span(f"{name}: damping of its springs", drive.springs_damping, 0.03, 0.95, "")
    _check_span(f"{name}: height of its mass", drive.centre_height_m, 0.0, 10.0, "m")
    _check_span(f"{name}: edge", drive.edge_step_m, -0.2, 0.2, "m")
    _check_span(f"{name}: where this deck begins", drive.begins_m or 0.0, 0.0, LONGEST_M, "m")
    for number, (axle, more_kg) in enumerate(zip(drive.axles, forward_kg(drive), strict=True), 1):
        if abs(more_kg) * drive.acceleration_m_per_s2 > axle.mass_kg:
            most = axle.mass_kg / abs(more_kg)
            raise BadInput(
                f"{name} would lift axle {number} off the ground at {drive.acceleration_m_per_s2:g} m/s2",
                f"at most {most:.3g} m/s2, or a lower centre of mass",
            )


def _check_stop(name: str, drive: Drive, length_m: float) -> None:
    """An axle at least stands on the receptor at the stop."""
    spans: list[tuple[float, float]] = []
    for near_m in sorted(axle.behind_m for axle in drive.axles):
        if spans and near_m <= spans[-1][1]:
            spans[-1] = (spans[-1][0], near_m + length_m)
        else:
            spans.append((near_m, near_m + length_m))
    if not any(near_m <= drive.stop_x_m <= far_m for near_m, far_m in spans):
        words = " or ".join(f"{near_m:g} to {far_m:g} m" for near_m, far_m in spans)
        raise BadInput(f"{name} stops at {drive.stop_x_m:g} m", f"{words}, with an axle on the receptor")


def _swap(loads: tuple[Load, ...], old: Load, new: Load | None) -> tuple[Load, ...]:
    changed = (new if load is old else load for load in loads)
    return tuple(load for load in changed if load is not None)


def _find(name: str, loads: tuple[Load, ...]) -> Load:
    for load in loads:
        if load.name == name:
            return load
    if not loads:
        raise BadInput(f"no load {name!r} is on the receptor", "nothing is on it")
    raise unknown("load", name, [load.name for load in loads])


def _check_free(name: str, loads: tuple[Load, ...]) -> None:
    if any(load.name == name for load in loads):
        raise BadInput(f"a load {name!r} is on the receptor already", "another name, or remove it first")


def _check_range(what: str, value: float, least: float, most: float, unit: str) -> None:
    """A value from least (0: above it) to most."""
    if not (least <= value <= most and value > 0.0):
        words = f"{least:g} to {most:g} {unit}" if least else f"above 0 and up to {most:g} {unit}"
        raise BadInput(f"{what} is {value:g} {unit}", words)


def _check_span(what: str, value: float, least: float, most: float, unit: str) -> None:
    """A value from least to most, both ends in it."""
    if not least <= value <= most:
        raise BadInput(f"{what} is {value:g} {unit}".rstrip(), f"{least:g} to {most:g} {unit}".rstrip())


def _kind(load: Load) -> str:
    """What a load is, for people."""
    match load:
        case Vehicle():
            return "a vehicle: it is driven"
        case Walker():
            return "somebody who walks"
        case Bulk():
            return "bulk material: it is filled and discharged"
        case Animal():
            return "an animal"
        case _:
            return "a load that was put down"
