"""A run of five seconds with something of everything, and how tests keep it and read it back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchsim.ground.readings import Event, LinkState
from benchsim.record.container import FRAMES, Head
from benchsim.record.frames import Carried
from benchsim.record.reader import Recording, read_recording
from benchsim.record.trace import Trace
from benchsim.record.writer import Recorder
from tests.record.runs import between, head, run

END_US = 5_000_000


def a_run() -> Trace:
    """Five seconds with something of everything."""
    lost = between(2.0, 3.5)
    made = run(
        50,
        gross_d=lambda t: t // 500_000,
        valid=lambda t: not lost(t),
        reason=lambda t: ("node 2: lost" if t < 3_000_000 else "a gap: ½") if lost(t) else "",
        motion=between(1.0, 1.4),
    )
    made.happened(Event(0, "load", "block", "place block: 18400 kg at 9 m, 1.5 m"))
    made.happened(Event(1_200_000, "command", "record", "record: in motion", done=False))
    made.happened(Event(END_US, "answer", "scp0499", "'", octets=bytes(range(256))))
    made.link(0, LinkState(2, "seek"))
    made.link(2_000_000, LinkState(2, "lost", "silent for 1 s", "serial 0A", 2_000_000))
    return made


def some_frames() -> list[Carried]:
    """Frames of all five seconds both ways: whole, lost, doubled, damaged, late, still on its way."""
    rows: list[Carried] = []
    for number in range(40):
        t_us = 125_000 * number
        frame = bytes([1, number]) * (8 if number % 3 else 20)
        fates = [
            [(t_us + 4_000, frame)],
            [],
            [(t_us + 4_000, frame), (t_us + 5_000, frame)],
            [(t_us + 4_000, frame[:-1] + b"?")],
            [(t_us + 1_500_000, frame)],
        ]
        rows.append((number % 4, t_us, frame, fates[number % 5]))
    return rows


def framed_head(**changes: Any) -> Head:
    """Of a run whose frames are kept."""
    nodes = ("serial number 00000000000003E9, address 1", "serial number 00000000000003EA, address 2")
    return head(depth=FRAMES, nodes=nodes, **changes)


def keep(
    path: Path,
    made: Trace,
    takes: list[int] = [],  # noqa: B006
    header: Head | None = None,
    frames: Sequence[Carried] = (),
) -> bytes:
    """A recording of a made-up run, written down when it stands at each of these times."""
    with Recorder(path, header or head(made.cells)) as recorder:
        coming = list(frames)
        for t_us in [*takes, END_US]:
            recorder.frames += [f for f in coming if f[1] <= t_us]
            coming = [f for f in coming if f[1] > t_us]
            recorder.take(made, t_us)
        recorder.finish(made, END_US)
    return path.read_bytes()


def cut_off(path: Path, octets: bytes) -> Recording:
    path.write_bytes(octets)
    return read_recording(path)
