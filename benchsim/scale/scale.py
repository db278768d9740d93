"""The room's face: commands at the site and changes of parts in, blocks of counts out; and the truth.

Stations are independent of each other: each works on its own sample grid and may be read as far as it
is wanted.  What happens at t_us shows in what is complete after t_us.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.commands import SiteCommand
from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.ground.readings import Counts
from benchsim.scale.digitiser import Converter
from benchsim.scale.history import History
from benchsim.scale.law import Setup
from benchsim.scale.loads import Deck
from benchsim.scale.parts import ScaleParts
from benchsim.scale.seating import Seats
from benchsim.scale.station import Sampler
from benchsim.scale.unrest import Unrest
from benchsim.scale.validate import check, check_new


class Scale:
    """A whole scale, from mass on the deck to counts.

    parts: data-sheet figures and layout; BadInput for what cannot be a scale.  streams: cell i draws its
    noise from streams.noise("cell", i), how loads sit on it from streams.noise("seat", i), and nothing
    else; wind and floor draw below streams "wind" and "floor" with the time since when.  start_us: when
    the nodes were switched on; the dead load has stood there for ever.
    Not modelled: a deck whose own frequency falls under load, supply and battery, warm-up after switching on.
    """

    def __init__(self, parts: ScaleParts, streams: Streams, start_us: int = 0) -> None:
        check(parts)
        check_new(parts)
        self._parts = parts
        self._streams = streams
        deck = Deck(parts.receptor, unrest=Unrest.of(parts.site, streams, start_us), streams=streams)
        self._history = History(deck, start_us)
        self._now_us = start_us
        self._seats = Seats(streams)
        self._samplers = tuple(
            Sampler(
                station.cells,
                Setup.of(parts, number),
                deck,
                start_us,
                Converter(tuple(streams.noise("cell", cell) for cell in station.cells)),
            )
            for number, station in enumerate(parts.stations)
        )

    @property
    def loads(self) -> tuple[str, ...]:
        """Names of what is on the receptor at the latest instant read or changed, in order of arrival."""
        return tuple(load.name for load in self._history.latest.present(self._now_us))

    def do(self, command: SiteCommand, t_us: int) -> None:
        """Have something put on, moved, driven, filled or taken off at t_us.

        Raises BadInput, and nothing has changed: an unknown or taken name, a place off the receptor, a mass
        that is not finite and positive.
        """
        deck = self._history.latest.after(command, t_us)
        self._now_us = max(self._now_us, t_us)
        self._history.append(t_us, deck)
        seating = self._seats.after(command, deck, self._parts)
        for sampler in self._samplers:
            sampler.change(t_us, None, deck, seating)

    def change(self, parts: ScaleParts, t_us: int) -> None:
        """From t_us on the parts have other figures; what cells, deck and filters remember goes on.

        Changes may be told well ahead of what is read, in order of time; a read over several of them costs
        less than as many reads.
        Raises BadInput, and nothing has changed: figures that cannot be; another number of cells, other
        stations, another rate or filter.
        """
        check(parts, self._parts)
        self._check_same_shape(parts)
        deck = self._moved_to(parts, t_us)
        for number, sampler in enumerate(self._samplers):
            setup = Setup.of(parts, number)
            changed = setup if setup != sampler.setup else None
            if changed is not None or deck is not None:
                sampler.change(t_us, changed, deck)
        self._parts = parts
        self._now_us = max(self._now_us, t_us)

    def read(self, station: int, until_us: int) -> Counts:
        """The samples of one station that are complete at until_us and were not read yet; maybe none."""
        self._now_us = max(self._now_us, until_us)
        return self._samplers[station].read(until_us)

    def node_time_us(self, station: int, t_us: int) -> int:
        """What that node's clock shows at bench time t_us; 0 at the start."""
        return self._samplers[station].node_time_us(t_us)

    def true_kg(self, t_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """True mass of the loads on the receptor at those rising instants, without the dead load.

        What lies more than KEPT_US (history.py) before the latest instant asked for is forgotten: ValueError.
        """
        return self._history.mass_kg(t_us)

    def true_cells_kg(self, t_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """True static share of each cell at those rising instants, (n, cells), without the dead load."""
        return self._history.cells_kg(t_us)

    def _moved_to(self, parts: ScaleParts, t_us: int) -> Deck | None:
        """The deck from t_us on; None: as before."""
        latest, site = self._history.latest, parts.site
        calm = site.wind == self._parts.site.wind and site.vibration == self._parts.site.vibration
        if parts.receptor == self._parts.receptor and calm:
            return None
        unrest = latest.unrest if calm else Unrest.of(site, self._streams, t_us)
        deck = replace(latest, receptor=parts.receptor, loads=latest.present(t_us), unrest=unrest)
        self._history.append(t_us, deck)
        return deck

    def _check_same_shape(self, parts: ScaleParts) -> None:
        if len(parts.cells) != len(self._parts.cells):
            raise BadInput(f"cells: {len(parts.cells)} of them", f"{len(self._parts.cells)}, as at the start")
        old, new = self._parts.stations, parts.stations
        if [s.cells for s in old] != [s.cells for s in new]:
            raise BadInput("stations: other cells on their channels", "the same channels as at the start")
        for number, (was, now) in enumerate(zip(old, new, strict=True), 1):
            for field in ("rate_hz", "filter", "filter_samples"):
                before = getattr(was.digitiser, field)
                if getattr(now.digitiser, field) != before:
                    raise BadInput(
                        f"station {number}, {field}: {getattr(now.digitiser, field)}",
                        f"{before}, as at the start",
                    )
