"""Opens a recording, whole or cut short or damaged, and says what is missing of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from benchsim.record import container
from benchsim.record.container import Head
from benchsim.record.trace import Trace
from benchsim.record.walker import Walker, opened


@dataclass(frozen=True, slots=True)
class Recording:
    """What a file gave.  missing: what it lacks, in sentences; () for a complete one."""

    head: Head
    trace: Trace
    missing: tuple[str, ...]

    @property
    def complete(self) -> bool:
        return not self.missing


def read_recording(path: Path) -> Recording:
    """Read a recording, all but its frames.  Raises BadInput: not there, no recording, of another format."""
    reader = _Reader()
    with opened(path, reader.take) as walker:
        reader.walker = walker
        for _ in walker.steps():
            pass
        return reader.recording()


@dataclass(slots=True)
class _Reader:
    """One file being read."""

    walker: Walker = field(init=False)
    reasons: list[str] = field(default_factory=list)
    trace: Trace | None = None

    def take(self, topic: str, data: bytes) -> None:
        """One message."""
        trace = self._trace()
        if topic == "reasons":
            container.decode_reasons(data, self.reasons)
        elif topic == "indication":
            columns = container.decode_columns(data, trace.cells, self.reasons)
            if len(trace) and len(columns.t_us) and columns.t_us[0] <= trace.newest_us():
                raise ValueError("a block that lies before the one before it")
            trace.add_columns(columns)
        elif topic == "events":
            trace.events += container.decode_events(data)
        elif topic == "links":
            trace.link_states += container.decode_links(data)

    def recording(self) -> Recording:
        """All that was taken."""
        trace = self._trace()
        had = {"rows": len(trace), "events": len(trace.events), "links": len(trace.link_states)}
        ended_us = self.walker.judge(had, trace.last_us())
        if ended_us is not None:
            trace.ended_us = ended_us
        return Recording(self.walker.head(), trace, tuple(self.walker.missing))

    def _trace(self) -> Trace:
        if self.trace is None:
            head = self.walker.head()
            self.trace = Trace(head.cells, head.interval, head.unit, head.capacity_d)
        return self.trace
