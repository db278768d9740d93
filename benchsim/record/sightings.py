"""Frames of a recording as they were seen: setting out at one end, arriving at the other, in order of time.

Read a second at a time, so that a recording of days takes no more memory than one of minutes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from pathlib import Path

from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput
from benchsim.record.container import FRAMES, Head
from benchsim.record.frames import Carried, decode_frames
from benchsim.record.walker import Walker, opened


@dataclass(frozen=True, slots=True)
class Sighting:
    """A frame at one end of its way.

    node: number of the node at the way's other end from the host, from 1.  octets: as seen here.
    sent, sent_us: what set out, and when.  arrives: (time, whether as it set out) of all that arrives of it;
    of a sighting that is itself an arrival only that one.
    """

    t_us: int
    node: int
    to_host: bool
    arrived: bool
    octets: bytes
    sent: bytes
    sent_us: int
    arrives: tuple[tuple[int, bool], ...]

    @property
    def at_host(self) -> bool:
        """Whether it was seen at the host's end of the way."""
        return self.arrived == self.to_host

    @property
    def changed(self) -> bool:
        """Whether other octets arrived than set out."""
        return self.octets != self.sent

    def fate(self) -> str:
        """What became of it on its way, in words."""
        if self.arrived:
            other = ", not as it set out" if self.changed else ""
            return f"{_milliseconds(self.t_us - self.sent_us)} on its way{other}"
        if not self.arrives:
            return "lost on its way"
        return f"arrives {_listed([self._arrival(t_us, same) for t_us, same in self.arrives])}"

    def _arrival(self, t_us: int, same: bool) -> str:
        late_us = t_us - self.sent_us
        when = f"after {_milliseconds(late_us)}" if late_us else "at once"
        return when if same else f"as other octets {when}"

    def whereabouts(self) -> str:
        """Where it was seen, in words."""
        if self.to_host:
            return f"arrived from node {self.node}" if self.arrived else f"set out from node {self.node}"
        return f"arrived at node {self.node}" if self.arrived else f"set out for node {self.node}"


def _milliseconds(span_us: int) -> str:
    """Exact: "4.213 ms"."""
    return f"{seconds(span_us * 1000).removesuffix(' s')} ms"


def _listed(words: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


class Sightings:
    """All sightings of a recording, to be walked through once.

    missing: what it lacks, in sentences; complete when the walk is.
    """

    def __init__(self, path: Path) -> None:
        self.missing: tuple[str, ...] = ()
        self._path = path
        self._walker: Walker | None = None
        self._rows: list[Carried] = []
        self._had = {"frames": 0, "arrivals": 0}
        self._last_us = 0
        self._coming: list[tuple[int, int, Sighting]] = []
        self._number = 0

    @property
    def head(self) -> Head:
        """What the recording says of itself, from the first sighting on."""
        assert self._walker is not None
        return self._walker.head()

    def __iter__(self) -> Iterator[Sighting]:
        """In order of time; at one instant what arrives comes before what sets out.

        Raises BadInput: not there, no recording, of another format, one that keeps no frames.
        """
        with opened(self._path, self._take) as walker:
            self._walker = walker
            for _ in walker.steps():
                rows, self._rows = self._rows, []
                for row in rows:
                    yield from self._arrivals(row[1])
                    yield self._sets_out(row)
            self._check_depth()
            ended_us = walker.judge(self._had, self._last_us)
            self.missing = tuple(walker.missing)
            yield from self._arrivals(ended_us)

    def _check_depth(self) -> None:
        if self.head.depth != FRAMES:
            raise BadInput(
                f"{self._path} is a recording that keeps no frames of the link",
                f"record the run again with --record-depth {FRAMES}",
            )

    def _take(self, topic: str, data: bytes) -> None:
        self._check_depth()
        if topic != "frames":
            return
        rows = decode_frames(data, 2 * len(self.head.nodes))
        if rows and rows[0][1] < self._last_us:
            raise ValueError("a block that lies before the one before it")
        self._rows += rows
        self._last_us = rows[-1][1] if rows else self._last_us
        self._had["frames"] += len(rows)
        self._had["arrivals"] += sum(len(arrivals) for _, _, _, arrivals in rows)

    def _arrivals(self, until_us: int | None) -> Iterator[Sighting]:
        """What arrives up to and at an instant; None: all that is still on its way."""
        coming = self._coming
        while coming and (until_us is None or coming[0][0] <= until_us):
            yield heappop(coming)[2]

    def _sets_out(self, row: Carried) -> Sighting:
        """The start of a frame; its arrivals wait for their time."""
        way, sent_us, sent, arrivals = row
        node, to_host = way // 2 + 1, way % 2 == 0
        arrives = tuple((t_us, octets == sent) for t_us, octets in arrivals)
        for (t_us, octets), one in zip(arrivals, arrives, strict=True):
            self._number += 1
            arrival = Sighting(t_us, node, to_host, True, octets, sent, sent_us, (one,))
            heappush(self._coming, (t_us, self._number, arrival))
        return Sighting(sent_us, node, to_host, False, sent, sent, sent_us, arrives)
