"""What every medium of the node link is to who uses it, and what it puts up with from its peers.

A carrier knows frames and who is there, nothing of what frames mean.  Whatever comes is heard, also frames
whose CRC is wrong: judging them belongs to the ends of the link.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from enum import StrEnum
from typing import Protocol

from benchsim.link.framing import Deframer, to_stream
from benchsim.serve.live import Connection, Guest

Heard = Callable[[bytes], None]
Tell = Callable[[str], None]

BURST_FRAMES = 20_000  # of one peer at once, and then so many a second: 16 nodes of 1000 Hz at k = 1
STEADY_FRAMES_PER_S = 20_000
FRAMES = "frames"
OTHER_END = "other end"


class Side(StrEnum):
    """Which end of the link sits on a carrier."""

    HOST = "host"
    NODES = "nodes"


class Carrier(Protocol):
    """One medium.  Frames are bare octets: what a stream needs around them is the carrier's business."""

    async def open(self, heard: Heard, tell: Tell) -> Connection:
        """Begin to carry.  heard: takes each frame as it came.  tell: takes a line on who comes and goes.

        Raises BadInput: taken, missing, or nobody there.
        """

    def send(self, frame: bytes) -> None:
        """To everybody on this medium; never blocks, never raises."""

    def close(self) -> None:
        """Carry nothing more."""


class Intake:
    """What one peer sends, as long as it is no flood: frames beyond that are let go, and told once."""

    __slots__ = ("_at_s", "_heard", "_left", "_loop", "_tell", "_told", "_who")

    def __init__(self, who: str, heard: Heard, tell: Tell) -> None:
        self._who, self._heard, self._tell = who, heard, tell
        self._loop = asyncio.get_running_loop()
        self._left = float(BURST_FRAMES)
        self._at_s = self._loop.time()
        self._told = False

    def take(self, frame: bytes) -> None:
        """Hear a frame, or let it go."""
        if self._left < 1:
            now_s = self._loop.time()
            earned = STEADY_FRAMES_PER_S * (now_s - self._at_s)
            self._left, self._at_s = min(BURST_FRAMES, self._left + earned), now_s
        if self._left >= 1:
            self._left -= 1
            self._heard(frame)
        elif not self._told:
            self._told = True
            self._tell(f"{self._who}: floods: beyond {STEADY_FRAMES_PER_S} frames a second all are let go")


class Lane:
    """One stream and whoever is at its other end: octets to frames and back."""

    def __init__(self, name: str, write: Callable[[bytes], None], intake: Intake) -> None:
        self.name = name
        self.write = write
        self._intake = intake
        self._deframer = Deframer()

    def heard(self, data: bytes) -> None:
        for frame in self._deframer.feed(data):
            self._intake.take(frame)

    def spoiled(self) -> None:
        """Octets came damaged: what is left of the frame shows it by its CRC."""


class Wire:
    """Where the streams of one medium meet: a frame sent goes to all, a frame of any is heard."""

    def __init__(self, heard: Heard, tell: Tell) -> None:
        self._heard = heard
        self._tell = tell
        self._lanes: list[Lane] = []

    def join(self, name: str, send: Callable[[bytes], None], how: str = "came") -> Lane:
        """A stream is there."""
        lane = Lane(name, send, Intake(name, self._heard, self._tell))
        self._lanes = [*self._lanes, lane]
        self.note(name, how)
        return lane

    def leave(self, client: Guest, why: str, done: bool = True) -> None:
        """It is gone.  Told once however often it is called."""
        left = [lane for lane in self._lanes if lane is not client]
        if len(left) < len(self._lanes):
            self._lanes = left
            self.note(client.name, why, done)

    def note(self, subject: str, text: str, done: bool = True) -> None:
        """Tell what happens to a stream or its listener."""
        self._tell(f"{subject}: {text}")

    def send(self, frame: bytes) -> None:
        """To every stream that is there now."""
        octets = to_stream(frame)
        for lane in self._lanes:
            lane.write(octets)
