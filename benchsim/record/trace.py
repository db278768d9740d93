"""One run as columns: what checks, plots and recordings read.

Grown a row an update in one flat buffer, so that an hour of sixteen cells stays below ten megabytes and
adding a row costs one packing call.  Nothing here opens a file or knows the time of day.
"""

from __future__ import annotations

import functools
import itertools
import struct
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import IntFlag
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.readings import Event, Indication, LinkState

COUNTS = ("t_us", "gross_d", "tare_d", "net_d", "tenths_gross_d", "tenths_net_d")


class Flag(IntFlag):
    """The bits of the flags column; each name in small letters is the field of the indication."""

    VALID = 1
    SHOWS_NET = 2
    PRESET_TARE = 4
    MOTION = 8
    CENTRE_OF_ZERO = 16
    OVERLOAD = 32
    UNDERLOAD = 64
    ZERO_ERROR = 128
    INITIAL_ZERO_ERROR = 256
    TARE_ERROR = 512


FLAGS = tuple(flag.name.lower() for flag in Flag if flag.name)
NO_FIGURE = Flag.OVERLOAD | Flag.UNDERLOAD | Flag.INITIAL_ZERO_ERROR

_HEAD = struct.Struct(f"<{len(COUNTS)}qd{len(FLAGS)}?I")
_figures = attrgetter(*COUNTS)
_states = attrgetter(*FLAGS)


@functools.cache
def row_dtype(cells: int) -> np.dtype[np.void]:
    """One row of the buffer, packed, little-endian."""
    names = (*COUNTS, "true_kg", "states", "reason", "cells_kg")
    kinds = ("<i8",) * len(COUNTS) + ("<f8", f"({len(FLAGS)},)?", "<u4", f"({cells},)<f8")
    return np.dtype(list(zip(names, kinds, strict=True)))


@dataclass(frozen=True, slots=True)
class Columns:
    """The rows of a trace as arrays, (n,) each, cells_kg (n, cells).  They are a snapshot: read only.

    t_us: bench time of the update, rising.  *_d: counts of d.  tenths_*_d: counts of d/10.
    flags: uint16, bits of Flag.  reason: index into reasons; reasons[0] is "".
    true_kg: mass of the loads on the receptor.  cells_kg: what the host made of each cell.
    """

    t_us: NDArray[np.int64]
    gross_d: NDArray[np.int64]
    tare_d: NDArray[np.int64]
    net_d: NDArray[np.int64]
    tenths_gross_d: NDArray[np.int64]
    tenths_net_d: NDArray[np.int64]
    flags: NDArray[np.uint16]
    true_kg: NDArray[np.float64]
    cells_kg: NDArray[np.float64]
    reason: NDArray[np.uint32]
    reasons: tuple[str, ...]

    def flag(self, flag: Flag) -> NDArray[np.bool_]:
        """Where any of these flags is on."""
        on: NDArray[np.bool_] = (self.flags & np.uint16(flag)) != 0
        return on

    def shows_figure(self) -> NDArray[np.bool_]:
        """Where a weight may be shown, as Indication.shows_figure has it."""
        shows: NDArray[np.bool_] = (self.flags & np.uint16(Flag.VALID | NO_FIGURE)) == Flag.VALID.value
        return shows


class Trace:
    """What happened in one run: indications beside the truth, events and link states, in time order.

    cells: how many.  interval: d in the unit shown.  capacity_d: Max in counts of d.
    events_gone, link_states_gone: how many were forgotten.
    ended_us: how far the run went, when the bench has said so; else judged by the last thing that happened.
    """

    def __init__(self, cells: int, interval: Decimal, unit: str, capacity_d: int) -> None:
        self.cells, self.interval, self.unit, self.capacity_d = cells, interval, unit, capacity_d
        self.events: list[Event] = []
        self.link_states: list[tuple[int, LinkState]] = []
        self.reasons: dict[str, int] = {"": 0}
        self.ended_us: int | None = None
        self.events_gone = self.link_states_gone = 0
        self._gone_us = 0  # the last instant of which something was forgotten
        self._times = array("q")
        self._rows = bytearray()
        self._pack = struct.Struct(f"<{len(COUNTS)}qd{len(FLAGS)}?I{cells}d").pack
        self._snapshot: Columns | None = None

    def __len__(self) -> int:
        return len(self._times)

    def add(self, indication: Indication, true_kg: float, cells_kg: Sequence[float]) -> None:
        """One update of the display, beside the true mass and what the host made of each cell."""
        reasons = self.reasons
        reason = reasons.setdefault(indication.reason, len(reasons))
        self._rows += self._pack(*_figures(indication), true_kg, *_states(indication), reason, *cells_kg)
        self._times.append(indication.t_us)

    def add_columns(self, columns: Columns) -> None:
        """Rows of another trace of as many cells, after those that are here (a reader's way in)."""
        table = np.zeros(len(columns.t_us), row_dtype(self.cells))
        for name in (*COUNTS, "true_kg", "cells_kg"):
            table[name] = getattr(columns, name)
        table["states"] = (columns.flags[:, None] >> np.arange(len(FLAGS), dtype=np.uint16)) & 1
        own = [self.reasons.setdefault(reason, len(self.reasons)) for reason in columns.reasons]
        table["reason"] = np.array(own, np.uint32)[columns.reason]
        self._rows += table.tobytes()
        self._times.extend(columns.t_us.tolist())

    def happened(self, event: Event) -> None:
        """Keep an event.  Called in time order."""
        self.events.append(event)

    def link(self, t_us: int, state: LinkState) -> None:
        """Keep a change of one address's link state.  Called in time order."""
        self.link_states.append((t_us, state))

    def forget_before(self, t_us: int, most_events: int | None = None) -> None:
        """Let go what lay before an instant, for a run that never ends.  Never while it is being recorded.

        What stood at t_us itself stays: its row, and each address's link state.  most_events: so many of
        the newest events stay at most, however young the others are.
        """
        rows = bisect_right(self._times, t_us) - 1
        if rows > 0:
            self._gone_us = max(self._gone_us, self._times[rows - 1])
            del self._times[:rows]
            del self._rows[: rows * row_dtype(self.cells).itemsize]
            self._snapshot = None
        events = sum(1 for _ in itertools.takewhile(lambda event: event.t_us < t_us, self.events))
        if most_events is not None:
            events = max(events, len(self.events) - most_events)
        if events > 0:
            self._gone_us = max(self._gone_us, self.events[events - 1].t_us)
            del self.events[:events]
            self.events_gone += events
        self._forget_link_states(t_us)

    def _forget_link_states(self, t_us: int) -> None:
        states = self.link_states
        past = bisect_right(states, t_us, key=lambda item: item[0])
        standing = {state.address: index for index, (_, state) in enumerate(states[:past])}
        if len(standing) < past:
            self.link_states_gone += past - len(standing)
            states[:past] = [states[index] for index in sorted(standing.values())]

    def rows_before(self, t_us: int) -> int:
        """How many rows lie before an instant."""
        return bisect_left(self._times, t_us)

    def columns(self) -> Columns:
        """All rows so far.  Made once for as long as no row is added."""
        if self._snapshot is None or len(self._snapshot.t_us) != len(self):
            self._snapshot = self.block(0, len(self))
        return self._snapshot

    def block(self, first: int, end: int) -> Columns:
        """The rows from first up to but not end."""
        dtype = row_dtype(self.cells)
        table = np.frombuffer(bytes(self._rows[first * dtype.itemsize : end * dtype.itemsize]), dtype)
        flags = np.zeros(len(table), np.uint16)
        for bit in range(len(FLAGS)):
            flags |= table["states"][:, bit].astype(np.uint16) << np.uint16(bit)
        arrays = {
            name: np.ascontiguousarray(table[name]) for name in (*COUNTS, "true_kg", "cells_kg", "reason")
        }
        return Columns(**arrays, flags=flags, reasons=tuple(self.reasons))

    def indication_at(self, t_us: int) -> Indication | None:
        """The indication that stood at an instant: the last at or before it.  None: there was none yet."""
        index = bisect_right(self._times, t_us) - 1
        return self.indication(index) if index >= 0 else None

    def indication(self, index: int) -> Indication:
        """The indication of one row."""
        values = _HEAD.unpack_from(self._rows, index * (_HEAD.size + 8 * self.cells))
        count = len(COUNTS)
        return Indication(
            **dict(zip(COUNTS, values[:count], strict=True)),
            **dict(zip(FLAGS, values[count + 1 : -1], strict=True)),
            reason=list(self.reasons)[values[-1]],
            unit=self.unit,
            interval=self.interval,
        )

    def newest_us(self) -> int:
        """The instant of the last row, 0 when there is none."""
        return self._times[-1] if self._times else 0

    def last_us(self) -> int:
        """How far the run went: as the bench said, or the last thing that happened; 0 for an empty run."""
        if self.ended_us is not None:
            return self.ended_us
        happened = max((event.t_us for event in self.events), default=self._gone_us)
        return max(self.newest_us(), happened, self.link_states[-1][0] if self.link_states else 0)
