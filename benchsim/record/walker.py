"""Walks through a recording, whole or cut short or damaged, and says what is missing of it.

What a message means is the business of whoever walks; what is damaged is left out here, a second at a time.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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

LARGEST_CHUNK = 64 * 1024 * 1024
# All that the container's own reader can raise on bytes that are not what they say they are.
_BROKEN = (McapError, zstandard.ZstdError, struct.error, ValueError, KeyError, TypeError, OverflowError,
           RecursionError, MemoryError)  # fmt: skip

Take = Callable[[str, bytes], None]
"""Called with a message's topic and data.  What it raises for data that cannot be leaves that second out."""


@contextmanager
def opened(path: Path, take: Take) -> Iterator[Walker]:
    """A walker at the start of a file.  Raises BadInput: not there, or it cannot be read."""
    try:
        file = path.open("rb")  # what goes wrong while it is open is told as what it is
    except OSError as error:
        raise _unreadable(path, error) from None
    with file:
        yield Walker(file, path, os.fstat(file.fileno()).st_size, take)


def _unreadable(path: Path, error: OSError) -> BadInput:
    return BadInput(f"{path}: {error.strerror or error}", "name a recording that can be read")


@dataclass(slots=True)
class Walker:
    """One file being read.  missing: what it lacks as far as it was walked through, in sentences."""

    file: IO[bytes]
    path: Path
    size: int
    take: Take
    metadata: dict[str, dict[str, str]] = field(default_factory=dict)
    sources: list[tuple[str, str]] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    _channels: dict[int, str] = field(default_factory=dict)
    _head: Head | None = None

    def steps(self) -> Iterator[None]:
        """Walk to the end, or to the first record that cannot be read; stops after each that was.

        Raises BadInput: not a recording, or one of another format.
        """
        for record in self._records():
            self._record(record)
            yield

    def head(self) -> Head:
        """What the recording says of itself.  Raises BadInput: nothing, or what cannot be."""
        if self._head is None:
            if container.HEAD not in self.metadata:
                raise self._wrong(
                    "has no head of benchsim", "it is another's MCAP file, or cut off at its start"
                )
            try:
                self._head = container.read_head(self.metadata[container.HEAD], self.sources)
            except BadInput as error:
                raise self._wrong(f"is {error.found}", error.right) from None
        return self._head

    def judge(self, had: dict[str, int], last_us: int) -> int | None:
        """Add what a complete file would have; gives when the run ended, None when it does not say.

        had: how many of each thing were read.  last_us: when the last of them was.
        """
        self._judge_sources()
        tail = self.metadata.get(container.TAIL)
        if tail is None:
            self._unfinished(last_us)
            return None
        for name, count in had.items():
            if count != (wanted := _whole(tail, name)):
                self.missing.append(f"{wanted - count} of {wanted} {name}")
        return _whole(tail, "ended_us")

    def _records(self) -> Iterator[McapRecord]:
        """Records up to the end or to the first that cannot be read."""
        reader = StreamReader(self.file, emit_chunks=True, record_size_limit=self.size)
        good = 0
        try:
            for record in reader.records:
                good = self.file.tell()
                yield record
        except OSError as error:
            raise _unreadable(self.path, error) from None
        except _BROKEN:
            if not good:
                raise self._wrong("is not a recording", "a recording is an MCAP file") from None
            if container.TAIL not in self.metadata:
                self.missing.append(
                    f"the file is cut off: {self.size - good} of {self.size} octets are unusable"
                )

    def _wrong(self, found: str, right: str = "") -> BadInput:
        return BadInput(f"{self.path} {found}", right)

    def _record(self, record: McapRecord) -> None:
        if isinstance(record, Metadata):
            self.metadata.setdefault(record.name, dict(record.metadata))
        elif isinstance(record, Attachment):
            self.sources.append((record.name, record.data.decode("utf-8", "replace")))
        elif isinstance(record, Channel):
            self._channels[record.id] = record.topic
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
                self._record(record)

    def _message(self, message: Message) -> None:
        self.head()
        self.take(self._channels.get(message.channel_id, ""), message.data)

    def _judge_sources(self) -> None:
        have = dict(self.sources)
        for key, sha in self.metadata[container.HEAD].items():
            name = key.removeprefix("sha256 ")
            if name != key and container.digest(have.get(name, "")) != sha:
                wrong = "is not the one of its SHA-256" if name in have else "is not there"
                self.missing.append(f"the text of {container.told(name)}: what should be it {wrong}")

    def _unfinished(self, last_us: int) -> None:
        lasts_us = self.head().lasts_us
        lasts = f", the run was to last {seconds(lasts_us)}" if lasts_us is not None else ""
        self.missing.append(f"the end of the run: the last thing in it is at {seconds(last_us)}{lasts}")


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
