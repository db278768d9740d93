"""What stands on the receptor, and since when: everything that puts a mass on or takes one off is here.

A deck is what holds between two changes; the history keeps the decks of the past, so the true mass of an
instant can be asked later.  A change at t_us shows in what lies after t_us.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import Drive, Move, Place, Remove, SiteCommand
from benchsim.ground.errors import BadInput, unknown
from benchsim.scale.contact import contact
from benchsim.scale.parts import Receptor
from benchsim.scale.receptor import bearing
from benchsim.scale.unrest import Unrest
from benchsim.scale.vehicle import Vehicle

Floats = NDArray[np.float64]

# Wide limits that keep what is computed finite, and slips of the pen out.
LARGEST_KG, LONGEST_M, FASTEST_M_PER_S = 1e9, 1e4, 100.0


# How far behind the latest instant asked for the true mass can still be asked.
KEPT_US = 600_000_000
# How many forgotten decks go at once.
_LOT = 256


@dataclass(frozen=True, slots=True)
class Standing:
    """A load that was put down."""

    name: str
    mass_kg: float
    x_m: float
    y_m: float


Load = Standing | Vehicle


@dataclass(frozen=True, slots=True)
class Deck:
    """The receptor, what is on it and what shakes it, until the next change."""

    receptor: Receptor
    loads: tuple[Load, ...] = ()
    unrest: Unrest | None = None

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
        return self.unrest is not None or any(not vehicle.is_gone(t_us) for vehicle in self.vehicles)

    def pressing(self, t_us: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """The sums of what loads that move press on the deck with, their swing included.  t_us: rising."""
        return self.rolling(t_us)

    def rolling(self, t_us: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """The same of the vehicles.  t_us: rising."""
        mass_kg, x_kg_m, y_kg_m = np.zeros((3, len(t_us)))
        for vehicle in self.vehicles:
            if len(t_us) and not vehicle.is_gone(int(t_us[0])):
                y_kg_m += vehicle.add_to(mass_kg, x_kg_m, t_us) * vehicle.drive.y_m
        return mass_kg, x_kg_m, y_kg_m

    @property
    def vehicles(self) -> tuple[Vehicle, ...]:
        return tuple(load for load in self.loads if isinstance(load, Vehicle))

    def steps(self, first_us: int, end_us: int) -> list[tuple[int, float, float, float]]:
        """Axles that come on or go off at first_us or later, before end_us: when, mass added, x, y."""
        found = [(*s, v.drive.y_m) for v in self.vehicles for s in v.steps(first_us, end_us)]
        return sorted(found, key=lambda step: step[0])

    def next_motion_us(self, t_us: int) -> int | None:
        """The first instant from t_us on at which something moves; None: all stands."""
        if self.unrest is not None:
            return t_us
        moves = [vehicle.next_motion_us(t_us) for vehicle in self.vehicles]
        return min((m for m in moves if m is not None), default=None)

    def present(self, t_us: int) -> tuple[Load, ...]:
        """The loads without the vehicles that have left by t_us."""
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
                if isinstance(load, Vehicle):
                    raise BadInput(f"{name!r} is a vehicle", "a vehicle is driven, only a load is moved")
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


class History:
    """The decks of the past, each from its time on.

    What ended more than KEPT_US before the latest instant asked for is forgotten, so a session may go on
    for ever; nothing is forgotten before it is asked for.
    """

    def __init__(self, deck: Deck, start_us: int) -> None:
        self._times_us = [start_us]
        self._decks = [deck]
        self._asked_us, self._forgotten_us = start_us, -math.inf

    def __len__(self) -> int:
        """How many decks are kept."""
        return len(self._decks)

    @property
    def latest(self) -> Deck:
        return self._decks[-1]

    @property
    def latest_us(self) -> int:
        return self._times_us[-1]

    def append(self, t_us: int, deck: Deck) -> None:
        self._times_us.append(t_us)
        self._decks.append(deck)

    def _spans(self, t_us: NDArray[np.int64]) -> Iterator[tuple[slice, Deck]]:
        """The decks that held at those rising instants, each with the part of them it held for."""
        if not len(t_us):
            return
        begins_us, ends_us = int(t_us[0]), int(t_us[-1])
        if begins_us <= self._forgotten_us:
            raise ValueError(f"asked at {begins_us} us, forgotten up to {self._forgotten_us} us")
        first = max(1, bisect.bisect_left(self._times_us, begins_us))
        last = max(1, bisect.bisect_left(self._times_us, ends_us))
        edges = np.searchsorted(t_us, self._times_us[first:last], side="right").tolist()
        for number, (begin, end) in enumerate(zip([0, *edges], [*edges, len(t_us)], strict=True)):
            if begin < end:
                yield slice(begin, end), self._decks[first - 1 + number]
        self._forget(ends_us)

    def _forget(self, asked_us: int) -> None:
        self._asked_us = max(self._asked_us, asked_us)
        # In lots, so that dropping the head of a list costs nothing that counts.
        out = bisect.bisect_left(self._times_us, self._asked_us - KEPT_US) - 1
        if out >= _LOT:
            del self._times_us[:out], self._decks[:out]
            self._forgotten_us = self._times_us[0]

    def mass_kg(self, t_us: NDArray[np.int64]) -> Floats:
        """True mass on the receptor, without the dead load.  float64, (n,).  t_us: rising."""
        mass_kg = np.empty(len(t_us))
        for span, deck in self._spans(t_us):
            mass_kg[span] = deck.sums(t_us[span])[0]
        return mass_kg

    def cells_kg(self, t_us: NDArray[np.int64]) -> Floats:
        """True share of each support, no dead load, no dynamics.  float64, (n, supports).  t_us: rising."""
        cells_kg = np.empty((len(t_us), len(self.latest.receptor.supports)))
        for span, deck in self._spans(t_us):
            mass_kg, x_kg_m, y_kg_m = deck.sums(t_us[span])
            receptor, on = deck.receptor, contact(deck.receptor)
            dead = receptor.dead_load_kg
            dead_x, dead_y = dead * 0.5 * receptor.length_m, dead * 0.5 * receptor.width_m
            empty_kg = on.carried(np.array([dead]), np.array([dead_x]), np.array([dead_y]))
            whole_kg = on.carried(mass_kg + dead, x_kg_m + dead_x, y_kg_m + dead_y)
            cells_kg[span] = (whole_kg - empty_kg).T
        return cells_kg
