"""Keeps a run in a file as it goes: whole seconds of bench time, each flushed as soon as it is complete.

The same run gives the same bytes, however often it is written down: where a block ends is decided by the
bench's clock alone.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, TypeVar

import numpy as np
from mcap.writer import CompressionType, Writer

from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event, LinkState
from benchsim.record import container
from benchsim.record.container import BLOCK_US, Head
from benchsim.record.frames import Carried, encode_frames, sent_us
from benchsim.record.newfile import new_file
from benchsim.record.trace import Columns, Trace

MAGIC = b"\x89MCAP0\r\n"
_NS = 1000
_Item = TypeVar("_Item")


class Recorder:
    """One recording being written.

    take() as often as wanted, finish() at the end.  Left without finish (an error, a kill) the file holds
    every whole second up to the last take and opens all the same.  frames: where whoever taps the link puts
    each frame, in order of time; they are kept when the head has that depth.
    """

    def __init__(self, path: Path, head: Head) -> None:
        """Raises BadInput: a folder, a place that cannot be written, a file that is no recording."""
        self._path = path
        self._file = _new_file(path)
        self._writer = Writer(self._file, compression=CompressionType.ZSTD)
        self._next_us = 0
        self._rows = self._events_seen = self._links_seen = self._reasons = 0
        self._events: list[Event] = []
        self._links: list[tuple[int, LinkState]] = []
        self.frames: list[Carried] = []
        self._counted = {"rows": 0, "events": 0, "links": 0}
        if head.depth == container.FRAMES:
            self._counted |= {"frames": 0, "arrivals": 0}
        self._guard(lambda: self._begin(head))

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    def take(self, trace: Trace, now_us: int) -> None:
        """Write every second of the trace that is complete now.  now_us: where the bench stands."""
        self._guard(lambda: self._take(trace, now_us // BLOCK_US * BLOCK_US))

    def finish(self, trace: Trace, ended_us: int) -> None:
        """Write the rest, say that the run is complete, and close the file."""
        self._guard(lambda: self._finish(trace, ended_us))

    def _guard(self, write: Callable[[], None]) -> None:
        try:
            write()
        except OSError as error:
            with suppress(OSError):  # closing writes once more what could not be written
                self._file.close()
            raise BadInput(f"{self._path}: {error.strerror or error}", "write where there is room") from None

    def _begin(self, head: Head) -> None:
        self._writer.start(profile=container.PROFILE, library=f"benchsim {head.version}")
        self._writer.add_metadata(container.HEAD, head.metadata())
        for name, text in head.sources:
            data = container.octets_of(text)
            self._writer.add_attachment(0, 0, container.plain(name), "application/yaml", data)
        self._channels: dict[str, int] = {}
        for s in container.streams(head.cells, head.depth):
            schema = self._writer.register_schema(s.schema, s.schema_encoding, s.schema_data)
            self._channels[s.topic] = self._writer.register_channel(s.topic, s.message_encoding, schema)
        self._flush()

    def _take(self, trace: Trace, until_us: int) -> None:
        if until_us <= self._next_us:
            return
        first, end = self._rows, trace.rows_before(until_us)
        columns = trace.block(first, end)
        events = _due(self._events, trace.events[self._events_seen :], until_us, lambda e: e.t_us)
        links = _due(self._links, trace.link_states[self._links_seen :], until_us, lambda s: s[0])
        frames = _due(self.frames, [], until_us, sent_us)
        self._events_seen, self._links_seen, self._rows = len(trace.events), len(trace.link_states), end
        row = 0
        while self._next_us < until_us:
            block_end_us = min(self._next_us + BLOCK_US, until_us)
            stop = int(np.searchsorted(columns.t_us, block_end_us))
            block_events = _before(events, block_end_us, lambda e: e.t_us)
            block_links = _before(links, block_end_us, lambda s: s[0])
            self._block(columns, (row, stop), block_events, block_links)
            self._frames(_before(frames, block_end_us, sent_us))
            self._flush()
            row, self._next_us = stop, block_end_us

    def _block(
        self,
        columns: Columns,
        rows: tuple[int, int],
        events: list[Event],
        links: list[tuple[int, LinkState]],
    ) -> None:
        """One second: what is new of each stream but the frames."""
        first, end = rows
        if end > first:
            self._new_reasons(columns, int(columns.reason[first:end].max()))
            self._message("indication", container.encode_columns(columns, first, end))
        if events:
            self._message("events", container.encode_events(events))
        if links:
            self._message("links", container.encode_links(links))
        for name, count in (("rows", end - first), ("events", len(events)), ("links", len(links))):
            self._counted[name] += count

    def _frames(self, frames: list[Carried]) -> None:
        """One second of frames."""
        if frames and "frames" in self._counted:
            self._message("frames", encode_frames(frames))
            self._counted["frames"] += len(frames)
            self._counted["arrivals"] += sum(len(arrivals) for _, _, _, arrivals in frames)

    def _new_reasons(self, columns: Columns, highest: int) -> None:
        if highest >= self._reasons:
            new = columns.reasons[self._reasons : highest + 1]
            self._message("reasons", container.encode_reasons(self._reasons, new))
            self._reasons = highest + 1

    def _message(self, topic: str, data: bytes) -> None:
        at_ns = self._next_us * _NS
        self._writer.add_message(self._channels[topic], at_ns, data, at_ns)

    def _flush(self) -> None:
        """Without this the container keeps up to a megabyte to itself, and a crash loses it."""
        self._writer.flush()  # type: ignore[no-untyped-call]

    def _finish(self, trace: Trace, ended_us: int) -> None:
        self._take(trace, ended_us // BLOCK_US * BLOCK_US)
        self._take(trace, ended_us + 1)
        counted = {name: str(count) for name, count in self._counted.items()}
        self._writer.add_metadata(container.TAIL, {"ended_us": str(ended_us)} | counted)
        self._writer.finish()  # type: ignore[no-untyped-call]
        self._file.close()


def _new_file(path: Path) -> IO[bytes]:
    """A new file.  Only an older recording (or an empty file) may make room for it."""
    return new_file(path, MAGIC, "recording")


def _due(waiting: list[_Item], more: list[_Item], until_us: int, time: Callable[[_Item], int]) -> list[_Item]:
    """What of all that waits is before an instant, by time; the rest goes on waiting."""
    every = sorted([*waiting, *more], key=time)
    due = [item for item in every if time(item) < until_us]
    waiting[:] = every[len(due) :]
    return due


def _before(items: list[_Item], until_us: int, time: Callable[[_Item], int]) -> list[_Item]:
    """Take from the front what lies before an instant."""
    count = next((i for i, item in enumerate(items) if time(item) >= until_us), len(items))
    taken = items[:count]
    del items[:count]
    return taken
