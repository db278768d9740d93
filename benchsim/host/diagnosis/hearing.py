"""What a host hears, kept as columns: a block of frames, clock readings and link states for each node.

Sample times are the host's: a line through the looks at the node's clock, or, where there were none, the
quickest frame.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.clock import SECOND_US
from benchsim.ground.readings import ClockReading, Indication, LinkState, Samples

_ANOTHER_CLOCK_US = 5 * SECOND_US
_LOOKS_FOR_A_LINE = 5
_OVERTAKEN = 200  # samples: a frame that another overtook is no further back


@dataclass(frozen=True, slots=True)
class NodeColumns:
    """One node.

    t_us: int64, (samples,), host time, rising.  counts: int32, (samples, channels).  status: uint8 alike.
    first, node_t_us, arrived_us: int64, resent: bool, (frames,), in order of arrival.  begins_us: the first
    sample of each by the host's clock.  rows: samples a frame.
    run: int64, (frames,), how often the node's clock had begun anew.  looks: int64, (n, 3), host time,
    node time and round trip.  states: its link, in order of time.
    """

    t_us: NDArray[np.int64]
    counts: NDArray[np.int32]
    status: NDArray[np.uint8]
    first: NDArray[np.int64]
    node_t_us: NDArray[np.int64]
    arrived_us: NDArray[np.int64]
    resent: NDArray[np.bool_]
    begins_us: NDArray[np.int64]
    rows: int
    run: NDArray[np.int64]
    looks: NDArray[np.int64]
    states: tuple[LinkState, ...]


@dataclass(frozen=True, slots=True)
class Hearing:
    """All that a host heard and showed.

    nodes: by address; one that was never heard has columns without rows.  shown: int64, (n, 3), for each
    update its time, the gross weight in d, and 1 where a figure may be shown.  not_taken: how many frames the
    host would not take, by address, at 0 those with a wrong check sum; empty where nobody counted.
    """

    nodes: Mapping[int, NodeColumns]
    shown: NDArray[np.int64]
    not_taken: Mapping[int, int]


class Ear:
    """Keeps what it is told, in order of arrival.  not_taken: set by who can ask for it."""

    def __init__(self) -> None:
        self._samples: dict[int, list[Samples]] = defaultdict(list)
        self._looks: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
        self._states: dict[int, list[LinkState]] = defaultdict(list)
        self._shown: list[tuple[int, int, int]] = []
        self.not_taken: Mapping[int, int] = {}

    def __call__(self, said: Samples | ClockReading | LinkState | Indication) -> None:
        """Keep one thing."""
        if isinstance(said, Samples):
            self._samples[said.address].append(said)
        elif isinstance(said, ClockReading):
            self._looks[said.address].append((said.host_t_us, said.node_t_us, said.round_trip_us))
        elif isinstance(said, LinkState):
            self._states[said.address].append(said)
        else:
            self._shown.append((said.t_us, said.gross_d, int(said.shows_figure)))

    def hearing(self, addresses: tuple[int, ...], rate_hz: int) -> Hearing:
        """All of it, for these nodes."""
        nodes = {
            a: _columns(self._samples[a], self._looks[a], tuple(self._states[a]), rate_hz) for a in addresses
        }
        return Hearing(nodes, np.array(self._shown, dtype=np.int64).reshape(-1, 3), self.not_taken)


def _columns(
    frames: list[Samples], looks: list[tuple[int, int, int]], states: tuple[LinkState, ...], rate_hz: int
) -> NodeColumns:
    shapes = Counter((f.rows, f.channels) for f in frames)
    rows, channels = shapes.most_common(1)[0][0] if shapes else (1, 0)
    frames = [f for f in frames if (f.rows, f.channels) == (rows, channels)]
    first = np.array([f.first for f in frames], dtype=np.int64)
    node_t_us = np.array([f.node_t_us for f in frames], dtype=np.int64)
    arrived_us = np.array([f.arrived_us for f in frames], dtype=np.int64)
    resent = np.array([f.resent for f in frames], dtype=np.bool_)
    seen = np.array(looks, dtype=np.int64).reshape(-1, 3)
    run = _runs(first, node_t_us, arrived_us, resent)
    begins_us = _host_times(node_t_us, arrived_us, run, seen)
    counts = np.frombuffer(b"".join([f.octets for f in frames]), "<i4").reshape(-1, channels or 1)
    status = np.frombuffer(b"".join([f.status for f in frames]), np.uint8).reshape(-1, channels or 1)
    t_us = (begins_us[:, None] + np.arange(rows) * SECOND_US // rate_hz).reshape(-1)
    order = np.argsort(t_us, kind="stable")
    return NodeColumns(
        t_us[order], counts[order], np.repeat(status, rows, axis=0)[order],
        first, node_t_us, arrived_us, resent, begins_us, rows, run, seen, states,
    )  # fmt: skip


def _runs(
    first: NDArray[np.int64],
    node_t_us: NDArray[np.int64],
    arrived_us: NDArray[np.int64],
    resent: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """How often the node had begun to count, or its clock had begun, anew before each frame."""
    fresh = ~resent
    anew = np.zeros(len(first), dtype=np.int64)
    late_us = (arrived_us - node_t_us)[fresh]
    jumped = np.abs(np.diff(late_us)) > _ANOTHER_CLOCK_US
    anew[np.flatnonzero(fresh)[1:]] = jumped | (np.diff(first[fresh]) < -_OVERTAKEN)
    return np.cumsum(anew)


def _host_times(
    node_t_us: NDArray[np.int64],
    arrived_us: NDArray[np.int64],
    run: NDArray[np.int64],
    looks: NDArray[np.int64],
) -> NDArray[np.int64]:
    """When the first sample of each frame was complete, by the host's clock."""
    made = node_t_us.copy()
    for one in np.unique(run).tolist():
        mine = run == one
        since_us, until_us = int(arrived_us[mine].min()), int(arrived_us[mine].max())
        seen = looks[(looks[:, 0] >= since_us - SECOND_US) & (looks[:, 0] <= until_us + SECOND_US)]
        late_us = seen[:, 0] - seen[:, 1]
        near = seen[np.abs(late_us - np.median(late_us)) < _ANOTHER_CLOCK_US] if len(seen) else seen
        node_us = node_t_us[mine]
        if len(near) >= _LOOKS_FOR_A_LINE:
            middle = near[:, 1].mean()
            slope, offset = np.polyfit(near[:, 1] - middle, (near[:, 0] - near[:, 1]).astype(float), 1)
            made[mine] = node_us + np.round(offset + slope * (node_us - middle)).astype(np.int64)
        elif len(near):
            made[mine] = node_us + int(np.median(near[:, 0] - near[:, 1]))
        else:
            made[mine] = node_us + int((arrived_us[mine] - node_us).min())
    return made


def clock_ppm(columns: NodeColumns) -> tuple[float, float] | None:
    """How fast the node's clock runs by the host's, in ppm, and how sure that is; None: too few looks."""
    looks = columns.looks
    if len(looks) < _LOOKS_FOR_A_LINE:
        return None
    quick = looks[looks[:, 2] <= 2 * np.median(looks[:, 2]) + 1000]
    late_us = quick[:, 1] - quick[:, 0]
    near = quick[np.abs(late_us - np.median(late_us)) < _ANOTHER_CLOCK_US]
    if len(near) < _LOOKS_FOR_A_LINE or np.ptp(near[:, 0]) < 20 * SECOND_US:
        return None
    host_s = (near[:, 0] - near[0, 0]) / SECOND_US
    ahead_us = (near[:, 1] - near[:, 0]).astype(float)
    (slope, _), cov = np.polyfit(host_s, ahead_us, 1, cov=True)
    return float(slope), float(np.sqrt(cov[0, 0]))
