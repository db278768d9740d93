"""One bench hour: 16 cells, 4 nodes, 80 Hz, real frames and tags over an impaired link, indication, trace.

Prints times of real time and ratios against what an engineer writes first (a plain per-sample loop) and
against a limit (noise and quantisation alone, in bare NumPy), both measured in the same run.  Nothing is
asserted.  Run: python tests/benchmarks/bench_hour.py [seconds of bench time]
"""

from __future__ import annotations

import math
import random
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from benchsim.bench.bench import Bench
from benchsim.ground.commands import Place
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan

CELLS, RATE_HZ = 16, 80
PLAIN_LOOP_S = 20  # of bench time; the plain loop is too slow for the whole hour


def full_bench(seconds: int, samples_per_frame: int = 8) -> Bench:
    """The bench as users run it, with two loads on the deck and a link that loses one frame in 500."""
    stack = (Loss(0.002), Delay(4_000, 1_000))
    made = plan(
        (5.0, Place("one", 20_000.0, 6.0, 1.5)),
        (seconds / 2, Place("two", 10_000.0, 15.0, 1.5)),
        cells=CELLS,
        up=stack,
        down=stack,
        samples_per_frame=samples_per_frame,
    )
    bench = Bench(made, load_profile("r76-iii"), seed=1)
    bench.run(seconds * 1_000_000)
    return bench


def plain_loop(seconds: int) -> float:
    """What is written first: every sample of every cell by itself, no frames, no tags."""
    share, creep, filtered, shown = 20_000.0 / CELLS, [0.0] * CELLS, [0.0] * CELLS, 0.0
    for _ in range(seconds * RATE_HZ):
        total = 0.0
        for cell in range(CELLS):
            creep[cell] += (share * 2e-4 - creep[cell]) / (60 * RATE_HZ)
            filtered[cell] += 0.3 * (share + creep[cell] - filtered[cell])
            counts = math.floor((filtered[cell] * 2e-4 * 2**21) + random.gauss(0, 20) + 0.5)
            total += counts / (2e-4 * 2**21)
        shown = math.floor(total / 20 + 0.5) * 20
    return shown


def noise_and_quantise(seconds: int) -> int:
    """The limit: nothing but noise and rounding, in ten-second blocks."""
    bits, last = np.random.Generator(np.random.SFC64(1)), 0
    for _ in range(seconds // 10):
        block = bits.standard_normal((10 * RATE_HZ, CELLS), dtype=np.float32)
        last = int(np.rint(block * np.float32(20.0) + np.float32(1e6)).astype(np.int32)[-1, 0])
    return last


def took_s(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main(seconds: int) -> None:
    if "--memory" in sys.argv:
        full_bench(seconds)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
        return
    rows = []
    full = min(took_s(lambda: full_bench(seconds)) for _ in range(3))
    single = took_s(lambda: full_bench(seconds, samples_per_frame=1))
    plain = took_s(lambda: plain_loop(PLAIN_LOOP_S)) * seconds / PLAIN_LOOP_S
    limit = min(took_s(lambda: noise_and_quantise(seconds)) for _ in range(3))
    for name, value in (("full bench, k = 8", full), ("full bench, k = 1", single),
                        (f"plain loop, physics only (from {PLAIN_LOOP_S} s)", plain),
                        ("noise + quantise alone", limit)):  # fmt: skip
        rows.append(
            f"{name:42} {value:8.3f} s {seconds / value:10.0f} x real time   {value / full:7.2f} of full"
        )
    memory = subprocess.run(
        [sys.executable, __file__, str(seconds), "--memory"], capture_output=True, text=True, check=True
    ).stdout.strip()
    print(f"{seconds} s of a {CELLS}-cell, 4-node, {RATE_HZ} Hz bench")
    print("\n".join(rows))
    print(f"peak memory of the whole process: {memory} MB")


if __name__ == "__main__":
    main(int(next((a for a in sys.argv[1:] if a.isdigit()), 3600)))
