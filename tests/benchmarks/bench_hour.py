"""One bench hour: 16 cells, 4 nodes, 80 Hz, real frames and tags over an impaired link, indication, trace.

Prints times of real time and ratios against what is written first (a plain loop, sample by sample) and
against a limit (noise and quantisation alone, in bare NumPy), both measured in the same run.  Nothing is
asserted.  Run: python tests/benchmarks/bench_hour.py [seconds of bench time]
"""

from __future__ import annotations

import hmac
import math
import random
import resource
import subprocess
import sys
import time
import zlib
from collections import deque
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import construct
import numpy as np

from benchsim.bench.bench import Bench
from benchsim.ground.commands import Place
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.rules.profile import load_profile
from tests.bench.plans import plan

CELLS, RATE_HZ = 16, 80
PLAIN_LOOP_S = 10  # of bench time; the plain loop is too slow for the whole hour


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


class PlainCell:
    """One cell as it is written first: a second-order deck, three creep terms, noise, rounding."""

    def __init__(self) -> None:
        self.position = self.speed = 0.0
        self.creep = [0.0, 0.0, 0.0]

    def sample(self, load_kg: float) -> int:
        self.speed += (load_kg - self.position) * 0.3 - self.speed * 0.16
        self.position += self.speed
        late = 0.0
        for term, (share, seconds) in enumerate(((1.2e-4, 60), (8e-5, 400), (4e-5, 2400))):
            self.creep[term] += (self.position * share - self.creep[term]) / (seconds * RATE_HZ)
            late += self.creep[term]
        return math.floor((self.position + late) * 419.4304 + random.gauss(0, 20) + 0.5)


PLAIN_FRAME = construct.Struct(
    "first" / construct.Int32ul, "channels" / construct.Int8ul, "counts" / construct.Int32sl[4]
)


def plain_loop(seconds: int) -> int:
    """What is written first: sample by sample, a construct frame with an HMAC for each node's instant."""
    cells, window, shown = [PlainCell() for _ in range(CELLS)], deque[float](maxlen=32), 0
    for instant in range(seconds * RATE_HZ):
        total_kg = 0.0
        for node in range(CELLS // 4):
            counts = [cell.sample(20_000.0 / CELLS) for cell in cells[4 * node : 4 * node + 4]]
            body = PLAIN_FRAME.build({"first": instant, "channels": 4, "counts": counts})
            frame = body + hmac.digest(b"k" * 16, body, "sha256")[:8]
            frame += zlib.crc32(frame).to_bytes(4, "little")
            if random.random() < 0.002 or zlib.crc32(frame[:-4]) != int.from_bytes(frame[-4:], "little"):
                continue
            if hmac.compare_digest(hmac.digest(b"k" * 16, frame[:-12], "sha256")[:8], frame[-12:-4]):
                total_kg += sum(c / 419.4304 for c in PLAIN_FRAME.parse(frame[:-12]).counts)
        window.append(total_kg)
        shown = math.floor(sum(window) / len(window) / 20 + 0.5) * 20 if max(window) - min(window) < 60 else 0
    return shown


def noise_and_quantise(seconds: int) -> int:
    """The limit: nothing but noise and rounding, in ten-second blocks."""
    bits, last = np.random.Generator(np.random.SFC64(1)), 0
    for _ in range(seconds // 10):
        block = bits.standard_normal((10 * RATE_HZ, CELLS), dtype=np.float32)
        last = int(np.rint(block * np.float32(20.0) + np.float32(1e6)).astype(np.int32)[-1, 0])
    return last


def took_s(work: Callable[[], object]) -> float:
    start = time.process_time()  # one thread: what others do on the machine does not count
    work()
    return time.process_time() - start


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
                        (f"written first, k = 1 (from {PLAIN_LOOP_S} s)", plain),
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
