"""An hour of a 16-cell, 4-station, 80 Hz scale, beside the plain loop written first and beside bare noise.

Run it by itself: python -m tests.benchmarks.bench_scale [seconds].  Prints ratios of one run.
"""

from __future__ import annotations

import math
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchsim.ground.commands import Axle, Drive
from benchsim.ground.randomness import Dice, Streams, normal_table
from benchsim.scale.parts import (
    Cell,
    Digitiser,
    Receptor,
    ScaleParts,
    Station,
    Support,
    Touch,
    Vibration,
    Wind,
    Wiring,
)
from benchsim.scale.scale import Scale

CELLS, STATIONS, RATE_HZ, S = 16, 4, 80, 1_000_000
LORRY = Drive("lorry", (Axle(6_000.0, 0.0), Axle(9_000.0, 3.5)), 3.0, 12.0, 1.5, 30 * S)
CELL = Cell(30_000.0, nonlinearity=1e-4, hysteresis=2e-4, creep=((1e-4, 10.0), (1e-4, 100.0), (5e-5, 1000.0)))
NOISE_COUNTS = 12.0


def parts() -> ScaleParts:
    supports = tuple(Support(18.0 * (i // 2) / 7, 3.0 * (i % 2)) for i in range(CELLS))
    stations = tuple(
        Station(tuple(range(4 * k, 4 * k + 4)), Digitiser(noise_rms_counts=NOISE_COUNTS))
        for k in range(STATIONS)
    )
    return ScaleParts(Receptor(18.0, 3.0, 12_000.0, supports), (CELL,) * CELLS, (Wiring(),) * CELLS, stations)


def simulated(seconds: int, block_us: int, lorry_every_s: int = 0) -> float:
    """Seconds of computing."""
    scale = Scale(parts(), Streams(1))
    began = time.perf_counter()
    for until_us in range(block_us, seconds * S + 1, block_us):
        if lorry_every_s and until_us % (lorry_every_s * S) == 0:
            scale.do(LORRY, until_us - block_us)
        for station in range(STATIONS):
            scale.read(station, until_us)
    return time.perf_counter() - began


def warmer(made: ScaleParts, second: int) -> ScaleParts:
    return replace(made, site=replace(made.site, temperature_c=20.0 + 1e-3 * second))


def wetter(made: ScaleParts, second: int) -> ScaleParts:
    wet = Wiring(leaks=(("SIG+", 7.2e9 / second),))
    return replace(made, wiring=(wet,) * CELLS)


def muddier(made: ScaleParts, second: int) -> ScaleParts:
    receptor = made.receptor
    return replace(made, receptor=replace(receptor, dead_load_kg=receptor.dead_load_kg + 0.01 * second))


def varied(seconds: int, vary: Callable[[ScaleParts, int], ScaleParts], told_ahead_s: int) -> float:
    """Seconds of computing when the parts change every second, told and read so many seconds at a time."""
    made = parts()
    scale = Scale(made, Streams(1))
    began = time.perf_counter()
    for start in range(0, seconds, told_ahead_s):
        for second in range(start, start + told_ahead_s):
            scale.change(vary(made, second + 1), second * S)
        for station in range(STATIONS):
            scale.read(station, (start + told_ahead_s) * S)
    return time.perf_counter() - began


# Every effect of a cell and its wiring that a scenario can switch on, at once.
LIVELY_CELL = replace(
    CELL, zero_effect_per_k=1e-5, span_effect_per_k=1e-5, thermal_time_constant_s=1800.0, recovery=1.3,
    repeatability=1e-5, safe_load=0.02, overload_set=0.001,
)  # fmt: skip
LIVELY_WIRING = Wiring(
    2.0, sensed=False, leaks=(("SIG+", 1e8),), contacts=(("EXC+", 3.0),), shorts=(("SIG+", "SIG-", 1e6),)
)


def straight(made: ScaleParts) -> ScaleParts:
    """Cells that are straight lines on a perfect cable; deck, noise and converter as they are."""
    return replace(made, cells=(Cell(30_000.0),) * CELLS)


def lively(made: ScaleParts) -> ScaleParts:
    """Cells and cables with every effect switched on."""
    return replace(made, cells=(LIVELY_CELL,) * CELLS, wiring=(LIVELY_WIRING,) * CELLS)


def windy(made: ScaleParts) -> ScaleParts:
    """In gusts on a floor that trembles: then nothing ever rests."""
    return replace(made, site=replace(made.site, wind=Wind(9.0), vibration=Vibration(0.02, 12.0, 2.0)))


def uneven(made: ScaleParts) -> ScaleParts:
    """One support low, one that binds, a stone beneath: which supports bear changes with the load."""
    supports = list(made.receptor.supports)
    supports[5] = replace(supports[5], height_m=-5e-4)
    supports[9] = replace(supports[9], binding_kg=50.0)
    stone = Touch(9.0, 1.5, 5e7, 2e-4)
    return replace(made, receptor=replace(made.receptor, supports=tuple(supports), touches=(stone,)))


def with_effects(seconds: int, made: ScaleParts, block_us: int) -> float:
    """Seconds of processor time, with a lorry every 2 min and 5 K each 10 min, so that no cell is settled."""
    scale = Scale(made, Streams(1))
    began = time.process_time()
    for until_us in range(block_us, seconds * S + 1, block_us):
        if until_us % (120 * S) == 0:
            scale.do(LORRY, until_us - block_us)
        if (from_us := until_us - block_us) % (600 * S) == 0:
            site = replace(made.site, temperature_c=25.0 - 5.0 * (from_us // (600 * S) % 2))
            scale.change(replace(made, site=site), from_us)
        for station in range(STATIONS):
            scale.read(station, until_us)
    return time.process_time() - began


def plain_loop(seconds: int) -> float:
    """The same physics of one cell after another, sample by sample, as it is written first."""
    dice, step_s = Dice(1), 1.0 / RATE_HZ
    w, damping = 2.0 * math.pi * 8.0, 0.08
    widths, weight = (0.0625, 0.125, 0.1875, 0.25), 1.6e-4
    began = time.perf_counter()
    for _ in range(CELLS):
        position, speed, codes = 0.025, 0.0, []
        lates, plays = [0.025] * 3, [0.025 + width for width in widths]
        for sample in range(seconds * RATE_HZ):
            load = 0.025 + (0.03 if (sample // 4800) % 2 else 0.0)
            speed += step_s * (w * w * (load - position) - 2.0 * damping * w * speed)
            position += step_s * speed
            output = position + 4e-4 * position * (1.0 - position)
            for k, width in enumerate(widths):
                plays[k] = min(max(plays[k], position - width), position + width)
                output += weight * (plays[k] - position - width)
            for k, (fraction, tau) in enumerate(CELL.creep):
                lates[k] += (position - lates[k]) * step_s / tau
                output += fraction * (lates[k] - position)
            code = round(output * 2.0 * 2**23 / 4.0 + NOISE_COUNTS * dice.normal())
            codes.append(min(max(code, -(2**23)), 2**23 - 1))
    return time.perf_counter() - began


def bare_noise(seconds: int, block_s: int) -> float:
    """Nothing but normal numbers from raw bits, scaled, offset, rounded and made whole."""
    noises = [Streams(1).noise("cell", i) for i in range(CELLS)]
    count = block_s * RATE_HZ
    began = time.perf_counter()
    for _ in range(seconds // block_s):
        for noise in noises:
            np.rint(noise.normal(count) * NOISE_COUNTS + 104_857.6).astype(np.int32)
    return time.perf_counter() - began


def main() -> None:
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 3600
    normal_table()
    simulated(60, 10 * S)  # tables and caches are made here
    stretch = min(seconds, 60)
    plain = plain_loop(stretch) * seconds / stretch
    bare = bare_noise(seconds, 10)
    print(f"{seconds} s of {CELLS} cells, {STATIONS} stations, {RATE_HZ} Hz:")
    for name, block_us, every_s in (
        ("standing load, 10-s blocks", 10 * S, 0),
        ("a lorry every 2 min, 10-s blocks", 10 * S, 120),
        ("a lorry every 2 min, 1-s blocks", S, 120),
        ("standing load, 8 samples a read", 100_000, 0),
    ):
        took = simulated(seconds, block_us, every_s)
        reads = seconds * S // block_us * STATIONS
        print(
            f"  {name:34} {took:6.2f} s = {seconds / took:7.0f} x real time; plain loop / this"
            f" {plain / took:5.1f}; this / bare noise {took / bare:5.2f}; {took / reads * 1e6:6.0f} us a read"
        )
    for vary in (warmer, wetter, muddier):
        once, ahead = varied(seconds, vary, 1), varied(seconds, vary, 10)
        print(
            f"  {vary.__name__ + ' every second':34} {once:6.2f} s = {seconds / once:7.0f} x real time;"
            f" told 10 s ahead {ahead:6.2f} s = {seconds / ahead:7.0f} x"
        )
    for block_us in (10 * S, S):
        bare_cells, before, all_on = (
            min(with_effects(seconds, made, block_us) for _ in range(3))
            for made in (straight(parts()), parts(), lively(parts()))
        )
        print(
            f"  every effect switched on costs {all_on / bare_cells:4.2f} times the plain,"
            f" {all_on / before:4.2f} times bend, loop and creep alone"
            f" ({block_us // S}-s blocks; {all_on:5.2f} s)"
        )
    calm, shaken = (
        min(with_effects(seconds, made, 10 * S) for _ in range(3)) for made in (parts(), windy(parts()))
    )
    rough = min(with_effects(seconds, uneven(parts()), 10 * S) for _ in range(3))
    print(f"  wind and a trembling floor cost {shaken / calm:4.2f} times a calm site ({shaken:5.2f} s)")
    print(f"  a deck that lifts off, binds and comes down on a stone {rough / calm:4.2f} times an even one")
    print(f"  plain Python loop {plain:.1f} s (measured over {stretch} s and scaled up); bare {bare:.3f} s")
    print(f"  peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
