"""Opens a recording, whole or cut short or damaged, and says what is missing of it."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import zstandard
from mcap.exceptions import McapError
from mcap.records import Attachment, Channel, Chunk, McapRecord, Message, Metadata
from mcap.stream_reader import StreamReader, breakup_chunk

from benchsim.ground.clock import seconds
from benchsim.ground.errors import BadInput
from benchsim.record import container
from benchsim.record.container import Head
from benchsim.record.trace import Trace

LARGEST_CHUNK = 64 * 1024 * 1024
# All that the container's own reader can raise on bytes that are not what they say they are.
_BROKEN = (McapError, zstandard.ZstdError, struct.error, ValueError, KeyError, TypeError, OverflowError,
           RecursionError, MemoryError)  # fmt: skip


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
    """Read a recording.  Raises BadInput: not there, not a recording, of another format."""
    try:
        with path.open("rb") as file:
            return _Reader(file, path, path.stat().st_size).read()
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}", "name a recording that can be read") from None


@dataclass(slots=True)
class _Reader:
    """One file being read."""

    file: IO[bytes]
    path: Path
    size: int
    metadata: dict[str, dict[str, str]] = field(default_factory=dict)
    sources: list[tuple[str, str]] = field(default_factory=list)
    channels: dict[int, str] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    trace: Trace | None = None
    head: Head | None = None

    def read(self) -> Recording:
        for record in self._records():
            self._take(record)
        head = self._head()
        trace = self._trace()
        self._judge(head, trace)
        return Recording(head, trace, tuple(self.missing))

    def _records(self) -> Iterator[McapRecord]:
        """Records up to the end or to the first that cannot be read."""
        reader = StreamReader(self.file, emit_chunks=True, record_size_limit=self.size)
        good = 0
        try:
            for record in reader.records:
                good = self.file.tell()
                yield record
        except _BROKEN:
            if not good:
                raise self._wrong("is not a recording", "a recording is an MCAP file") from None
            if container.TAIL not in self.metadata:
                self.missing.append(
                    f"the file is cut off: {self.size - good} of {self.size} octets are unusable"
                )

    def _wrong(self, found: str, right: str = "") -> BadInput:
        return BadInput(f"{self.path} {found}", right)

    def _take(self, record: McapRecord) -> None:
        if isinstance(record, Metadata):
            self.metadata.setdefault(record.name, dict(record.metadata))
        elif isinstance(record, Attachment):
            self.sources.append((record.name, record.data.decode("utf-8", "replace")))
        elif isinstance(record, Channel):
            self.channels[record.id] = record.topic
        elif isinstance(record, Chunk):
            self._leave_out_if_damaged(lambda: self._chunk(record), record.message_start_time)
        elif isinstance(record, Message):
            self._leave_out_if_damaged(lambda: self._message(record), record.log_time)

    def _leave_out_if_damaged(self, take: Callable[[], None], time_ns: int) -> None:
        try:
            take()
        except _BROKEN:
            self.missing.append(f"the second from {seconds(time_ns // 1000)} is damaged")

    def _chunk(self, chunk: Chunk) -> None:
        """One second's block, all of it or what comes before the damage."""
        if chunk.compression not in ("", "zstd"):
            raise ValueError(f"compression {chunk.compression}, which is never written")
        if max(chunk.uncompressed_size, _unpacked_size(chunk)) > LARGEST_CHUNK:
            raise ValueError("a chunk larger than any that is written")
        for record in breakup_chunk(chunk, validate_crc=True):
            if isinstance(record, Message):
                self._message(record)
            else:
                self._take(record)

    def _message(self, message: Message) -> None:
        topic, trace = self.channels.get(message.channel_id), self._trace()
        if topic == "reasons":
            container.decode_reasons(message.data, self.reasons)
        elif topic == "indication":
            columns = container.decode_columns(message.data, trace.cells, self.reasons)
            if len(trace) and len(columns.t_us) and columns.t_us[0] <= trace.newest_us():
                raise ValueError("a block that lies before the one before it")
            trace.add_columns(columns)
        elif topic == "events":
            trace.events += container.decode_events(message.data)
        elif topic == "links":
            trace.link_states += container.decode_links(message.data)

    def _head(self) -> Head:
        if self.head is None:
            if container.HEAD not in self.metadata:
                raise self._wrong(
                    "has no head of benchsim", "it is another's MCAP file, or cut off at its start"
                )
            try:
                self.head = container.read_head(self.metadata[container.HEAD], self.sources)
            except BadInput as error:
                raise self._wrong(f"is {error.found}", error.right) from None
        return self.head

    def _trace(self) -> Trace:
        if self.trace is None:
            head = self._head()
            self.trace = Trace(head.cells, head.interval, head.unit, head.capacity_d)
        return self.trace

    def _judge(self, head: Head, trace: Trace) -> None:
        """What a complete file would have."""
        have = dict(self.sources)
        for key, sha in self.metadata[container.HEAD].items():
            name = key.removeprefix("sha256 ")
            if name != key and container.digest(have.get(name, "")) != sha:
                wrong = "is not the one of its SHA-256" if name in have else "is not there"
                self.missing.append(f"the text of {name}: what should be it {wrong}")
        tail = self.metadata.get(container.TAIL)
        if tail is None:
            self._unfinished(head, trace)
            return
        trace.ended_us = _whole(tail, "ended_us")
        had = {"rows": len(trace), "events": len(trace.events), "links": len(trace.link_states)}
        for name, count in had.items():
            if count != (wanted := _whole(tail, name)):
                self.missing.append(f"{wanted - count} of {wanted} {name}")

    def _unfinished(self, head: Head, trace: Trace) -> None:
        last = f"the last thing in it is at {seconds(trace.last_us())}"
        lasts = f", the run was to last {seconds(head.lasts_us)}" if head.lasts_us is not None else ""
        self.missing.append(f"the end of the run: {last}{lasts}")


def _whole(tail: dict[str, str], name: str) -> int:
    try:
        return int(tail[name])
    except (KeyError, ValueError):
        return 0


def _unpacked_size(chunk: Chunk) -> int:
    """What a chunk says it unpacks to, by its own compressor's header."""
    if chunk.compression != "zstd":
        return chunk.uncompressed_size
    return int(zstandard.frame_content_size(chunk.data))
