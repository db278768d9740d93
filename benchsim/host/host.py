"""The room's face: verified samples, clock readings and link states in; indications out.

What an update shows depends on what had arrived by its own time and on nothing else: asking once an hour
or once a millisecond gives the same indications, bit for bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.clock import SECOND_US, seconds
from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import ClockReading, Indication, LinkState, Outcome, Samples
from benchsim.host.alignment import Track
from benchsim.host.grid import AHEAD_US, Grid
from benchsim.host.indication import IN_MOTION, TOO_OLD, Instrument
from benchsim.host.limits import counted_d
from benchsim.host.links import Links
from benchsim.host.parts import HostParts
from benchsim.host.reconstruction import PARTS_PER_D, Reconstruction
from benchsim.host.whereabouts import bad_cell, missing
from benchsim.host.windows import Views, Widths, cells_apart, look
from benchsim.rules.profile import Profile

_UPDATES_AT_ONCE = 256
_MOST_ROWS = 80  # of one frame
_UNSTEADY = ("", TOO_OLD, IN_MOTION)


@dataclass(slots=True)
class Tick:
    """One update: the indication, and each cell's weight in kg (NaN for a cell that has none)."""

    indication: Indication
    cells_kg: tuple[float, ...]


class Host:
    """The reference host.  parts: its settings; profile: the rules it keeps.  Raises BadInput on both."""

    def __init__(self, parts: HostParts, profile: Profile) -> None:
        _check(parts, profile)
        self._parts, self._profile, self._rate_hz = parts, profile, parts.rate_hz
        self._period_us = SECOND_US // parts.update_hz
        self._next_us = self._period_us
        self._forgotten = -(1 << 62)  # instants before it are not looked at, whatever is still there
        self._tracks = _tracks(parts)
        self._grid = self._tracks[0].grid
        self._by_address = {track.address: track for track in self._tracks}
        self._links = Links(tuple(self._by_address))
        self._seated()
        self._late_us, self._oldest_us = profile.late_after_us, profile.oldest_us
        self._instrument = Instrument(parts, profile)
        self._no_cells = self._last_cells = (float("nan"),) * len(parts.seats)

    @property
    def indication(self) -> Indication:
        """The latest indication; before the first update an invalid one."""
        return self._instrument.indication

    def change(self, parts: HostParts) -> None:
        """Other settings from the next update on; zero, tare and what was heard stay as they are.

        The caller has advanced to now.  BadInput: settings that no host could keep, or for which this one
        would have to begin anew (another interval, other places of its cells).  A mean that is longer than
        what was kept so far has to fill first.
        """
        if parts == self._parts:
            return
        _check(parts, self._profile)
        mine = self._parts
        if _begun_with(parts) != _begun_with(mine):
            raise BadInput("a host with another interval, rate or other places", "begin a host anew for them")
        self._forgotten = self._oldest(self._next_us - self._period_us)
        self._parts = parts
        place = {(seat.address, seat.channel): cell for cell, seat in enumerate(parts.seats)}
        for track in self._tracks:
            track.reseat([place[track.address, channel] for channel in track.channels])
        self._seated()
        self._instrument.change(parts)

    def _seated(self) -> None:
        """What follows from the settings."""
        parts = self._parts
        columns = [cell for track in self._tracks for cell in track.cells]
        self._column_of = np.argsort(np.array(columns, dtype=np.intp))  # column of each cell
        self._reconstruction = Reconstruction([parts.seats[c] for c in columns], parts.interval)
        self._widths = _widths(parts, self._profile)

    def take(self, samples: Samples) -> None:
        """Verified samples, in order of arrival."""
        track = self._by_address.get(samples.address)
        if track is not None:
            track.frames.append(samples)

    def clock(self, reading: ClockReading) -> None:
        """One look at a node's clock."""
        track = self._by_address.get(reading.address)
        if track is not None:
            track.read(reading)

    def link(self, state: LinkState) -> None:
        """What became of one address."""
        track = self._by_address.get(state.address)
        if track is not None:
            self._links.add(state)
            if state.step != "flow":
                track.left(state.since_us)

    def command(self, command: InstrumentCommand, now_us: int) -> Outcome:
        """Do it or refuse it.  The caller has advanced to now_us.

        It acts on the weight of the last update, unless a node has gone since then.
        """
        self._links.reach(now_us)
        if self._links.broken and self.indication.valid:
            self._instrument.no_weight(self.indication.t_us, self._links.broken)
        return self._instrument.command(command, now_us)

    def advance(self, now_us: int) -> list[Tick]:
        """Every update that is due up to and at now_us, in order."""
        ticks: list[Tick] = []
        while self._next_us <= now_us:
            count = min((now_us - self._next_us) // self._period_us + 1, _UPDATES_AT_ONCE)
            updates = self._next_us + self._period_us * np.arange(count, dtype=np.int64)
            self._span(updates, ticks)
            self._next_us += count * self._period_us
        return ticks

    def _held_ticks(self, updates_us: NDArray[np.int64], ticks: list[Tick]) -> None:
        """A host that is stuck: what it had last, told as if it were of now."""
        cells = self._last_cells
        for t_us in updates_us.tolist():
            ticks.append(Tick(self._instrument.again(t_us), cells))

    def _span(self, updates_us: NDArray[np.int64], ticks: list[Tick]) -> None:
        """A run of updates at once."""
        first_us, last_us = int(updates_us[0]), int(updates_us[-1])
        oldest = self._oldest(first_us)
        self._grid.reach(oldest, (last_us + AHEAD_US) * self._rate_hz // SECOND_US + 2)
        for track in self._tracks:
            if track.bad:
                track.forget_bad(oldest)
            track.absorb(last_us)
        if self._parts.held and self._instrument.indication.valid:
            self._held_ticks(updates_us, ticks)
            return
        views = look(self._tracks, oldest, self._reconstruction, self._widths, updates_us)
        frame_us = self._frames_us(updates_us)
        before = len(ticks)
        blind = self._show(updates_us, frame_us, views, ticks)
        if blind:
            fresh = (updates_us - frame_us - self._parts.waiting_us) * self._rate_hz // SECOND_US
            kg = cells_apart(
                self._tracks, oldest, self._reconstruction, self._widths.mean, updates_us, fresh
            )[:, self._column_of]
            for k in blind:
                ticks[before + k].cells_kg = tuple(kg[k].tolist())
        self._last_cells = ticks[-1].cells_kg

    def _oldest(self, t_us: int) -> int:
        """The oldest instant that an update at t_us may look at."""
        longest_us = _MOST_ROWS * SECOND_US // self._rate_hz
        oldest_us = t_us - self._parts.waiting_us - longest_us
        oldest = oldest_us * self._rate_hz // SECOND_US - max(self._widths.mean, self._widths.stable)
        return max(oldest, self._forgotten)

    def _frames_us(self, updates_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """How long it takes to fill a frame, at each update; it hardly ever changes."""
        since_us = int(updates_us[0])
        rows = [track.rows_since(since_us) for track in self._tracks]
        if None in rows:
            return np.array([self._frame_us(t) for t in updates_us.tolist()], dtype=np.int64)
        return np.full(len(updates_us), self._frame_us(since_us), dtype=np.int64)

    def _frame_us(self, t_us: int) -> int:
        rows = max(track.rows_at(t_us) for track in self._tracks)
        return min(rows, _MOST_ROWS) * SECOND_US // self._rate_hz

    def _show(
        self, updates_us: NDArray[np.int64], frame_us: NDArray[np.int64], views: Views, ticks: list[Tick]
    ) -> list[int]:
        """The updates one by one: the only part that has a memory from one to the next.

        frame_us: how long it takes to fill a frame.  Gives the number of each update without a weight.
        """
        newest_us = views.newest * SECOND_US // self._rate_hz
        lag_us = updates_us - newest_us - frame_us
        until_us = newest_us + self._oldest_us
        old = (updates_us > until_us) | (lag_us > self._late_us)
        unsteady = [_UNSTEADY[s] for s in np.where(views.stable, old, 2).tolist()]
        cells_kg = list(map(tuple, views.kg[:, self._column_of].tolist()))
        waits, newest = (lag_us > self._parts.waiting_us).tolist(), views.newest.tolist()
        weights, low, high = views.weight.tolist(), views.low.tolist(), views.high.tolist()
        stands_until_us = until_us.tolist()
        bad = any(track.bad for track in self._tracks)
        weigh, links = self._instrument.weigh, self._links
        blind: list[int] = []
        for k, t_us in enumerate(updates_us.tolist()):
            if links.coming_us <= t_us:
                links.reach(t_us)
            reason = links.broken
            if not reason and bad:
                reason = bad_cell(self._tracks, t_us, max(newest[k], self._fresh_from(t_us) - 1))
            if not reason and (waits[k] or newest[k] * SECOND_US < links.flows_since_us * self._rate_hz):
                reason = self._missing(t_us)
            if reason:
                blind.append(k)
                ticks.append(Tick(self._instrument.no_weight(t_us, reason), self._no_cells))
            else:
                shown = weigh(t_us, weights[k], unsteady[k], low[k], high[k], stands_until_us[k])
                ticks.append(Tick(shown, cells_kg[k]))
        return blind

    def _fresh_from(self, t_us: int) -> int:
        """The first instant that is not yet too old at t_us."""
        fresh_us = t_us - self._parts.waiting_us - self._frame_us(t_us)
        return fresh_us * self._rate_hz // SECOND_US + 1

    def _missing(self, t_us: int) -> str:
        fresh_from, silent, links = self._fresh_from(t_us), "no samples yet", self._links
        if fresh_from * SECOND_US > links.flows_since_us * self._rate_hz:
            silent = f"no samples for more than {seconds(self._parts.waiting_us)}"
        newcomer = links.newcomer, -(-links.flows_since_us * self._rate_hz // SECOND_US)
        return missing(self._tracks, t_us, fresh_from, self._widths.mean, silent, newcomer)


def _widths(parts: HostParts, profile: Profile) -> Widths:
    """What is looked at; n instants span n - 1 periods, and that must be the time of the rules."""
    count = counted_d(parts, profile) * PARTS_PER_D
    return Widths(
        max(1, parts.averaging_us * parts.rate_hz // SECOND_US),
        1 - (-profile.stable_for_us * parts.rate_hz // SECOND_US),
        int(profile.motion_band_of(parts.capacity_kg) * count),
        int(profile.settled_within_d * count),
    )


def _tracks(parts: HostParts) -> Sequence[Track]:
    seats: dict[int, list[tuple[int, int]]] = {}
    for cell, seat in enumerate(parts.seats):
        seats.setdefault(seat.address, []).append((cell, seat.channel))
    grid = Grid(len(parts.seats), len(seats))
    tracks: list[Track] = []
    column = 0
    for number, address in enumerate(sorted(seats)):
        tracks.append(Track(grid, number, address, seats[address], column, parts.rate_hz))
        column += len(seats[address])
    return tracks


def _begun_with(parts: HostParts) -> tuple[object, ...]:
    """What cannot change while a host lives."""
    places = sorted((seat.address, seat.channel) for seat in parts.seats)
    return places, parts.interval, parts.verification_interval, parts.unit, parts.rate_hz, parts.update_hz


def _check(parts: HostParts, profile: Profile) -> None:
    """Settings that no host could keep, or none under these rules."""
    if not parts.seats:
        raise BadInput("a host without cells", "give at least one cell its seat")
    if parts.update_hz < 1 or SECOND_US % parts.update_hz:
        whole = [str(hz) for hz in range(1, 101) if SECOND_US % hz == 0]
        right = f"a period of whole microseconds: {', '.join(whole)}"
        raise BadInput(f"{parts.update_hz} indications a second", right)
    if parts.rate_hz < 1:
        raise BadInput(f"a rate of {parts.rate_hz} Hz", "at least 1 Hz")
    if parts.rate_hz * profile.stable_for_us < SECOND_US:
        stands = seconds(profile.stable_for_us)
        found = f"{parts.rate_hz} Hz is too low to tell whether a weight stands for {stands}"
        raise BadInput(found, f"at least {-(-SECOND_US // profile.stable_for_us)} Hz under {profile.name}")
    if not parts.interval.is_finite() or parts.interval <= 0:
        raise BadInput(f"an interval of {parts.interval}", "a positive interval")
    e = parts.verification_interval
    if e is not None and not (e.is_finite() and parts.interval <= e <= 10 * parts.interval):
        raise BadInput(f"a verification interval of {e}", "from d to 10 d (R 76-1 3.4.2)")
    if not parts.capacity_kg.is_finite() or parts.capacity_kg < parts.interval:
        raise BadInput(f"a Max of {parts.capacity_kg}", "at least one interval")
    if parts.averaging_us < 0 or parts.waiting_us < 0:
        raise BadInput("a negative time for averaging or waiting", "0 or more")
    places = [(seat.address, seat.channel) for seat in parts.seats]
    twice = next((p for p in places if places.count(p) > 1), None)
    if twice:
        raise BadInput(f"two cells on channel {twice[1]} of node {twice[0]}", "one cell a channel")
