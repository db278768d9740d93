"""Traces, recordings, checks over one bench hour, 36 000 updates of 16 cells; and the hour itself, recorded.

Prints figures and ratios measured in one run, beside what is written first (one container message an
update or a frame, a plain loop over objects) and beside a bare limit (the same octets appended raw).  The
whole bench hour is run without a recording, with one of indications and with one that keeps all frames: the
goal is 1.5 times the run without.  Nothing is asserted.

Run: python tests/benchmarks/bench_record.py [seconds of bench time]
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from mcap.writer import Writer

from benchsim.bench.bench import Bench
from benchsim.checks.judge import judge
from benchsim.checks.sentence import parse
from benchsim.ground.commands import Place
from benchsim.ground.randomness import Streams
from benchsim.ground.readings import Indication
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.record.container import DEPTHS, FRAMES
from benchsim.record.frames import Carried
from benchsim.record.reader import read_recording
from benchsim.record.sightings import Sightings
from benchsim.record.trace import Trace
from benchsim.record.writer import Recorder
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan
from tests.record.runs import head, indication

CELLS, UPDATES_A_SECOND, TIMES = 16, 10, 5
STEP_S = 20
SENTENCES = (
    "always gross is not above 60.18 t",
    "always error is within mpe while stable",
    "always fine error is within mpe while stable and true mass is steady for 2 s",
    "never motion is on while overloaded",
    "for at least 3 s stable is on",
    "always gross is true mass within 0.1 %",
)


def timed(
    work: Callable[[], Any], times: int = TIMES, clock: Callable[[], float] = time.perf_counter
) -> tuple[float, Any]:
    """The best of a few runs, in seconds, and what the work gave."""
    best, given = float("inf"), None
    for _ in range(times):
        began = clock()
        given = work()
        best = min(best, clock() - began)
    return best, given


def updates(seconds: int) -> list[tuple[Indication, float, list[float]]]:
    """A load that comes and goes each minute, cells with noise."""
    noise = Streams(1).noise("cells")
    rows = []
    for number in range(1, seconds * UPDATES_A_SECOND + 1):
        count = 920 if number // 600 % 2 else 0
        cells = (noise.normal(CELLS) * 0.5 + count * 20.0 / CELLS).tolist()
        rows.append((indication(number * 100_000, count, motion=number % 600 < 20), count * 20.0, cells))
    return rows


def traced(rows: list[tuple[Indication, float, list[float]]]) -> Trace:
    made = Trace(CELLS, Decimal(20), "kg", 3000)
    for one, true_kg, cells in rows:
        made.add(one, true_kg, cells)
    return made


def recorded(path: Path, made: Trace, step_s: int) -> int:
    """Written down every step of bench time."""
    with Recorder(path, head(CELLS)) as recorder:
        for t_us in range(0, made.newest_us(), step_s * 1_000_000):
            recorder.take(made, t_us)
        recorder.finish(made, made.newest_us())
    return path.stat().st_size


def a_message_an_update(path: Path, rows: list[tuple[Indication, float, list[float]]]) -> int:
    """What is written first."""
    with path.open("wb") as file:
        writer = Writer(file)
        writer.start()
        channel = writer.register_channel("indication", "json", 0)
        for one, true_kg, cells in rows:
            fields = {name: str(getattr(one, name)) for name in one.__slots__}
            data = json.dumps(fields | {"true_kg": true_kg, "cells_kg": cells}).encode()
            writer.add_message(channel, one.t_us * 1000, data, one.t_us * 1000)
        writer.finish()  # type: ignore[no-untyped-call]
    return path.stat().st_size


def raw(path: Path, made: Trace) -> int:
    """The same octets, second by second, and nothing else."""
    octets = bytes(made._rows)
    size = len(octets) // max(len(made), 1) * UPDATES_A_SECOND
    with path.open("wb") as file:
        for start in range(0, len(octets), size):
            file.write(octets[start : start + size])
            file.flush()
    return path.stat().st_size


def plain_check(rows: list[tuple[Indication, float, list[float]]]) -> bool:
    """A check as a loop over the updates."""
    limit = Decimal("60180")
    return all(one.gross_d * one.interval <= limit for one, _, _ in rows if one.shows_figure)


def bench(seconds: int) -> Bench:
    """A bench of 16 cells on 4 nodes at 80 Hz, two loads, a link that loses one frame in 500."""
    stack = (Loss(0.002), Delay(4_000, 1_000))
    loads = ((5.0, Place("one", 20_000.0, 6.0, 1.5)), (seconds / 2, Place("two", 10_000.0, 15.0, 1.5)))
    return Bench(plan(*loads, cells=CELLS, up=stack, down=stack), load_profile("r76-iii"), seed=1)


def run_whole(seconds: int) -> None:
    bench(seconds).run(seconds * 1_000_000)


def run_kept(path: Path, seconds: int, depth: str) -> int:
    """The same in steps as a scenario is run, kept in a file."""
    made = bench(seconds)
    with Recorder(path, head(CELLS, depth=depth, nodes=("",) * 4)) as recorder:
        if depth == FRAMES:
            made.tap(recorder.frames.append)
        for end_s in range(STEP_S, seconds + STEP_S, STEP_S):
            made.run(min(end_s, seconds) * 1_000_000)
            recorder.take(made.trace, made.now_us)
        recorder.finish(made.trace, made.now_us)
    return path.stat().st_size


def a_message_a_frame(path: Path, frames: list[Carried]) -> int:
    """What is written first."""
    with path.open("wb") as file:
        writer = Writer(file)
        writer.start()
        channel = writer.register_channel("frames", "", 0)
        for _, t_us, octets, arrivals in frames:
            for at_us, one in ((t_us, octets), *arrivals):
                writer.add_message(channel, at_us * 1000, one, at_us * 1000)
        writer.finish()  # type: ignore[no-untyped-call]
    return path.stat().st_size


def the_hour(folder: Path, seconds: int) -> None:
    """What a recording adds to the run, in processor time: what others do on the machine does not count."""
    clock = time.process_time
    without_s, _ = timed(lambda: run_whole(seconds), 3, clock)
    print(f"bench hour     {without_s:8.2f} s without a recording, {seconds / without_s:.0f} x real time")
    for depth in DEPTHS:
        with_s, size = timed(lambda depth=depth: run_kept(folder / depth, seconds, depth), 3, clock)  # type: ignore[misc]
        print(f"  {depth:12} {with_s:8.2f} s, {with_s / without_s:.2f} times that; {size / 1e6:.1f} MB")
    tapped, frames = bench(seconds), list[Carried]()
    tapped.tap(frames.append)
    tapped.run(seconds * 1_000_000)
    first_s, first_size = timed(lambda: a_message_a_frame(folder / "first", frames), 1, clock)
    print(
        f"  a message a frame, frames alone: {first_s:.2f} s, {first_s / without_s:.2f} times the run; "
        f"{first_size / 1e6:.1f} MB"
    )
    seen_s, seen = timed(lambda: sum(1 for _ in Sightings(folder / FRAMES)), 1, clock)
    print(f"  read back    {seen_s:8.2f} s, {seen} frames seen at either end")


def main() -> None:
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 3600
    rows = updates(seconds)
    growing_s, made = timed(lambda: traced(rows))
    print(f"{len(rows)} updates, {CELLS} cells, {seconds} s of bench time, best of {TIMES}")
    per_update_us, megabytes = growing_s / len(rows) * 1e6, len(made._rows) / 1e6
    print(f"add            {per_update_us:8.2f} us an update, {megabytes:.1f} MB in all")
    columns_s, _ = timed(lambda: made.block(0, len(made)))
    print(f"columns        {columns_s * 1e3:8.1f} ms")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run"
        raw_s, raw_size = timed(lambda: raw(path, made))
        path.unlink()
        first_s, first_size = timed(lambda: a_message_an_update(path, rows), 1)
        for step_s in (20, 1):
            write_s, size = timed(lambda step_s=step_s: recorded(path, made, step_s))  # type: ignore[misc]
            print(
                f"record, {step_s:2} s steps {write_s * 1e3:6.1f} ms, {size / 1e6:.1f} MB; "
                f"one message an update {first_s / write_s:.1f} times that and {first_size / 1e6:.1f} MB; "
                f"raw append {raw_s / write_s:.3f} times that and {raw_size / 1e6:.1f} MB"
            )
        read_s, _ = timed(lambda: read_recording(path))
        print(f"read back      {read_s * 1e3:8.1f} ms")
        the_hour(Path(folder), seconds)
    profile = load_profile("hb44-iiil-vehicle")
    plain_s, _ = timed(lambda: plain_check(rows))
    for sentence in SENTENCES:
        check = parse(sentence)
        judge_s, _ = timed(lambda check=check: judge(check, made, profile))  # type: ignore[misc]
        ratio = plain_s / judge_s
        print(f"judge          {judge_s * 1e3:8.2f} ms, a plain loop {ratio:6.1f} times that: {sentence}")
    parse_s, _ = timed(lambda: [parse(sentence) for sentence in SENTENCES])
    print(f"parse          {parse_s / len(SENTENCES) * 1e6:8.1f} us a sentence")


if __name__ == "__main__":
    main()
