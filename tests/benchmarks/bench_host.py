"""An hour of a 16-cell, 4-node, 80 Hz scale through the host, and beside it the plain loop one writes first.

Run it by itself: python tests/benchmarks/bench_host.py [seconds].  Prints processor time and ratios of one
run; asserts nothing.
"""

from __future__ import annotations

import sys
import time
from collections import deque

import numpy as np

from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.host.host import Host
from benchsim.rules.profile import load_profile
from tests.host.feed import COUNTS_PER_KG, ZERO_COUNTS, parts

RATE_HZ, ROWS, NODES, CHANNELS = 80, 8, 4, 4


def frames(seconds: int) -> list[Samples]:
    """The frames of every node, in order of arrival, with a load that comes and goes and some noise."""
    rows = seconds * RATE_HZ
    t = np.arange(rows) / RATE_HZ
    load_kg = np.where((t % 60) > 20, 40_000.0, 0.0)
    noise = np.random.Generator(np.random.SFC64(1)).integers(-12, 13, (NODES, rows, CHANNELS))
    share = load_kg * COUNTS_PER_KG / (NODES * CHANNELS) + ZERO_COUNTS
    counts = np.rint(share)[None, :, None].astype(np.int64) + noise
    made = []
    for first in range(0, rows - ROWS + 1, ROWS):
        node_t_us = round((first + 1) * 1e6 / RATE_HZ)
        arrived_us = round((first + ROWS) * 1e6 / RATE_HZ) + 4_000
        for node in range(NODES):
            octets = counts[node, first : first + ROWS].astype("<i4").tobytes()
            made.append(
                Samples(node + 1, first, ROWS, CHANNELS, node_t_us, arrived_us, octets, bytes(CHANNELS))
            )
    return made


def through_host(made: list[Samples], seconds: int, block_s: float) -> tuple[float, int]:
    """Seconds of computing, and updates made."""
    host = Host(parts(cells=16, zero_tracking=True, initial_zero=True), load_profile("hb44-iiil-vehicle"))
    began = time.process_time()
    for node in range(1, NODES + 1):
        host.link(LinkState(node, "flow"))
        host.clock(ClockReading(node, 0, 0, 2_000))
    place, updates, read_s = 0, 0, 0
    block_us = int(block_s * 1_000_000)
    for until_us in range(block_us, seconds * 1_000_000 + 1, block_us):
        while place < len(made) and made[place].arrived_us <= until_us:
            host.take(made[place])
            place += 1
        while read_s * 1_000_000 < until_us:
            read_s += 1
            for node in range(1, NODES + 1):
                host.clock(ClockReading(node, read_s * 1_000_000, read_s * 1_000_000, 2_000))
        updates += len(host.advance(until_us))
    return time.process_time() - began, updates


def plain_loop(made: list[Samples], seconds: int) -> float:
    """Sum, mean and spread a sample at a time, as written first: no alignment, no clocks, no rules."""
    began = time.process_time()
    mean: deque[float] = deque(maxlen=32)
    recent: deque[float] = deque(maxlen=32)
    shown = 0.0
    for first in range(0, len(made), NODES):
        blocks = [
            np.frombuffer(f.octets, "<i4").reshape(ROWS, CHANNELS).tolist()
            for f in made[first : first + NODES]
        ]
        for row in range(ROWS):
            weight = 0.0
            for block in blocks:
                for count in block[row]:
                    weight += (count - ZERO_COUNTS) / COUNTS_PER_KG
            mean.append(weight)
            recent.append(weight)
            shown = round(sum(mean) / len(mean) / 20)
            _ = shown, max(recent) - min(recent) > 120
    return time.process_time() - began


def main() -> None:
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 3600
    made = frames(seconds)
    plain = plain_loop(made, seconds)
    print(f"plain loop           {plain:8.3f} s   {seconds / plain:8.0f} x real time")
    for block_s in (10.0, 1.0, 0.1):
        took, updates = through_host(made, seconds, block_s)
        print(
            f"host, {block_s:4.1f} s blocks  {took:8.3f} s   {seconds / took:8.0f} x real time,"
            f" {plain / took:5.1f} x the plain loop, {took / updates * 1e6:6.1f} us an update"
        )


if __name__ == "__main__":
    main()
