"""A run of five seconds with something of everything, and how tests keep it and read it back."""

from __future__ import annotations

from pathlib import Path

from benchsim.ground.readings import Event, LinkState
from benchsim.record.container import Head
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


def keep(path: Path, made: Trace, takes: list[int] = [], header: Head | None = None) -> bytes:  # noqa: B006
    with Recorder(path, header or head(made.cells)) as recorder:
        for t_us in takes:
            recorder.take(made, t_us)
        recorder.finish(made, END_US)
    return path.read_bytes()


def cut_off(path: Path, octets: bytes) -> Recording:
    path.write_bytes(octets)
    return read_recording(path)
