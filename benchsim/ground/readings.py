"""The plain values that one room hands to the next.  All are frozen; none has behaviour of its own.

The way: Counts (scale to node) -> Samples (link to host) -> Weight -> Indication (host to outputs).
Every t_us is microseconds of the bench's clock unless the name says node.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.rounding import shown

CHANNELS_PER_NODE = 4


def addresses_needed(cells: int) -> int:
    """How many nodes a scale needs: ceil(cells / 4).  Source: common practice, no source."""
    return -(-cells // CHANNELS_PER_NODE)


class ChannelStatus(IntFlag):
    """What a digitiser says of one channel.  0 is good."""

    GOOD = 0
    HIGH = 1  # at the upper stop of its range
    LOW = 2  # at the lower stop of its range
    OPEN = 4  # no bridge found at the terminals
    REFERENCE = 8  # the excitation or its sense is out of range


@dataclass(frozen=True, slots=True)
class Counts:
    """One block of one node's converter readings.

    first: the sample counter of row 0, from 0 at the node's start.
    t_us: int64, (samples,), when each sample was complete, bench time, rising.
    node_t_us: int64, (samples,), the same instants by the node's own clock, rising.
    counts: int32, (samples, channels).
    status: uint8, (samples, channels), ChannelStatus.
    """

    first: int
    t_us: NDArray[np.int64]
    node_t_us: NDArray[np.int64]
    counts: NDArray[np.int32]
    status: NDArray[np.uint8]


@dataclass(slots=True)
class Samples:
    """What one verified data frame said.  Made once a frame, so it is plain slots; nobody changes it.

    first: sample counter of the first of `rows` samples.  node_t_us: node clock at that sample.
    arrived_us: when the host had it.  octets: int32 little-endian, rows x channels.
    status: one octet a channel, ChannelStatus of all rows or-ed.  resent: it filled a gap.
    """

    address: int
    first: int
    rows: int
    channels: int
    node_t_us: int
    arrived_us: int
    octets: bytes
    status: bytes
    resent: bool = False


@dataclass(frozen=True, slots=True)
class ClockReading:
    """One look at a node's clock: at host time host_t_us it showed node_t_us, within round_trip_us/2."""

    address: int
    host_t_us: int
    node_t_us: int
    round_trip_us: int


@dataclass(frozen=True, slots=True)
class LinkState:
    """One address as its host sees it.

    step: idle, seek, prove, flow, lost, failed or released.  reason: why it failed or was lost, in words,
    "" while nothing is wrong.  detail: what a technician would want beside it (serial numbers heard, a
    fingerprint).  since_us: when this step began.
    """

    address: int
    step: str
    reason: str = ""
    detail: str = ""
    since_us: int = 0


@dataclass(frozen=True, slots=True)
class Indication:
    """What the reference host shows at one instant.  Weights are whole counts of d; no float is here.

    valid: False when no weight may be given at all (not paired, a gap, a channel out of range, the
    initial zero not set yet); reason says why.  A figure may be shown only when `shows_figure`.
    motion: not known to be in stable equilibrium: it moves, or the newest samples are late or too old.
    tenths_*: high-resolution counts of d/10, for outputs that may show them, never for a record.
    """

    t_us: int
    valid: bool
    reason: str
    unit: str
    interval: Decimal
    gross_d: int
    tare_d: int
    net_d: int
    tenths_gross_d: int
    tenths_net_d: int
    shows_net: bool
    preset_tare: bool
    motion: bool
    centre_of_zero: bool
    overload: bool
    underload: bool
    zero_error: bool
    initial_zero_error: bool
    tare_error: bool

    @property
    def shown_d(self) -> int:
        """The count on the display: net while a tare acts, else gross."""
        return self.net_d if self.shows_net else self.gross_d

    @property
    def shows_figure(self) -> bool:
        """Whether a weight figure may be shown, printed or sent."""
        return self.valid and not (self.overload or self.underload or self.initial_zero_error)

    @property
    def text(self) -> str:
        """The digits with unit as a display has them; dashes where no figure may be shown."""
        figure = shown(self.shown_d, self.interval) if self.shows_figure else "------"
        return f"{figure} {self.unit}"


@dataclass(frozen=True, slots=True)
class Recorded:
    """One weighing let through the recording interlock."""

    number: int
    t_us: int
    gross_d: int
    tare_d: int
    net_d: int
    preset_tare: bool
    interval: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """The answer to a command: done, or not and why."""

    done: bool
    reason: str = ""
    recorded: Recorded | None = None


@dataclass(frozen=True, slots=True)
class InstrumentCard:
    """What an output may tell of the instrument it speaks for.  capacity_d: Max in counts of d."""

    model: str
    revision: str
    serial: str
    kind: str
    unit: str
    capacity_d: int
    interval: Decimal


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, for the trace: a fault that began, a command and its outcome, bytes sent.

    kind: load, command, fault, link, node, answer or client.  subject: which one.  text: in words.
    """

    t_us: int
    kind: str
    subject: str
    text: str
    done: bool = True
    octets: bytes = b""
