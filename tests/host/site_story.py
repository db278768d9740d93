"""Scales of our own invention, and what a technician does at each to find out what ails it.

The story: empty, one test weight over each cell in turn, a load in the middle in two steps up and two down,
empty again; about three minutes, and nothing that a technician could not do.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from benchsim.bench.bench import Bench
from benchsim.bench.plan import Scheduled
from benchsim.ground.commands import EndFault, StartFault
from benchsim.host.diagnosis.hearing import Ear
from benchsim.host.diagnosis.parts import Case
from benchsim.record.trace import Trace
from benchsim.scale.parts import Receptor
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.loader import load_text
from benchsim.scenario.notes import case_of

CLASS_C = "accuracy class: C, intervals: 3000, y: 10000"


@dataclass(frozen=True, slots=True)
class Layout:
    """One scale.  cells: of a cell's figures, as YAML."""

    capacity_kg: int
    interval_kg: float
    deck: str
    count: int
    cells: str
    nodes: str = ""
    link: str = "delay: 3 ms, jitter: 2 ms"


LAYOUTS = {
    "platform of 4": Layout(
        3000, 1, "length: 1.5 m, width: 1.5 m, dead load: 240 kg", 4, f"capacity: 1500 kg, {CLASS_C}"
    ),
    "ideal platform of 4": Layout(
        3000, 1, "length: 2 m, width: 1.5 m, dead load: 400 kg", 4, "capacity: 2 t"
    ),
    "platform with four conductors": Layout(
        1500, 1, "length: 1.5 m, width: 1.2 m, dead load: 150 kg", 4,
        f"capacity: 750 kg, {CLASS_C}, sensed: off",
    ),
    "hopper on 3": Layout(
        6000, 2, "length: 2 m, width: 2 m, dead load: 900 kg", 3,
        "capacity: 5 t, accuracy class: C, intervals: 3000",
    ),
    "truck deck on 6": Layout(
        60000, 20, "length: 18 m, width: 3 m, dead load: 12 t", 6,
        f"capacity: 30 t, {CLASS_C}, lead resistance: 0.4 ohm", link="delay: 6 ms, jitter: 4 ms",
    ),
    "truck deck on 8 by radio": Layout(
        60000, 20, "length: 18 m, width: 3 m, dead load: 14 t", 8, f"capacity: 30 t, {CLASS_C}",
        link="delay: 8 ms, jitter: 6 ms, loss: 0.3 %",
    ),
    "long deck on 16": Layout(
        120000, 50, "length: 32 m, width: 3 m, dead load: 30 t", 16, f"capacity: 40 t, {CLASS_C}",
        "common mode rejection: 100 dB, ",
    ),
    "truck deck with four conductors": Layout(
        60000, 20, "length: 12 m, width: 3 m, dead load: 9 t", 4,
        f"capacity: 40 t, {CLASS_C}, sensed: off", link="delay: 5 ms, jitter: 3 ms",
    ),
    "cells without compensation": Layout(
        3000, 1, "length: 2 m, width: 1.5 m, dead load: 300 kg", 4,
        f"capacity: 1500 kg, {CLASS_C}, zero effect: 300 ppm/K, thermal time constant: 20 s",
    ),
    "one platform cell": Layout(
        300, 0.1, "length: 0.6 m, width: 0.6 m, dead load: 20 kg", 1, f"capacity: 500 kg, {CLASS_C}"
    ),
}  # fmt: skip


def story(layout: Layout, spots: list[tuple[float, float]]) -> tuple[str, float]:
    """The timeline as YAML, and how long it lasts in seconds.  spots: where the weight goes for each cell."""
    lines: list[str] = []
    t_s = 12.0
    on_s, off_s = (8.0, 6.0) if layout.count <= 6 else (4.5, 4.0)
    weight_kg = layout.capacity_kg / max(4, layout.count)
    for cell in range(1, layout.count + 1):
        x_m, y_m = spots[cell - 1]
        place = f"place: {weight_kg:g} kg, name: w{cell}, position: [{x_m:g} m, {y_m:g} m]"
        lines += [f"  - {{at: {t_s} s, {place}}}", f"  - {{at: {t_s + on_s} s, remove: w{cell}}}"]
        t_s += on_s + off_s
    for step, what in enumerate(("place: {} kg, name: a", "place: {} kg, name: b", "remove: b", "remove: a")):
        mass = f"{layout.capacity_kg * (0.4, 0.45, 0, 0)[step]:g}"
        lines.append(f"  - {{at: {t_s + 10.0 * step} s, {what.format(mass)}}}")
    return "\n".join(lines), t_s + 42.0


def varied(layout: Layout, name: str, seed: int) -> Layout:
    """The same scale as another maker, another place and another radio would have it."""
    dice = random.Random(f"{name} {seed}")
    noise, intervals = dice.choice((8, 12, 20, 30)), dice.choice((3000, 4000, 6000))
    link = dice.choice(
        (
            layout.link,
            "delay: 2 ms, jitter: 1 ms",
            "delay: 12 ms, jitter: 9 ms, loss: 0.2 %",
            "delay: 5 ms, jitter: 3 ms, duplicates: 0.5 %, reordering: 0.5 %",
        )
    )
    clock_ppm = dice.randint(-25, 25)
    return replace(
        layout,
        cells=layout.cells.replace("intervals: 3000", f"intervals: {intervals}"),
        nodes=f"{layout.nodes}noise: {noise} nV/√Hz, clock error: {clock_ppm} ppm",
        link=link,
    )


def spots_of(layout: Layout, scale: Receptor) -> list[tuple[float, float]]:
    """Towards each cell, as far out as the deck's own weight holds the other side down."""
    x_m, y_m, out = scale.length_m / 2, scale.width_m / 2, 0.5 if layout.count <= 4 else 0.7
    return [(x_m + out * (s.x_m - x_m), y_m + out * (s.y_m - y_m)) for s in scale.supports]


def text_of(layout: Layout, seed: int, spots: list[tuple[float, float]] | None = None) -> str:
    """The whole scenario; without spots only the scale."""
    timeline, lasts_s = story(layout, spots) if spots else ("  []", 1.0)
    return f"""title: Somebody looks after a scale
seed: {seed}
lasts: {lasts_s} s
scale:
  capacity: {layout.capacity_kg} kg
  interval: {layout.interval_kg} kg
  receptor: {{{layout.deck}}}
cells: {{count: {layout.count}, {layout.cells}}}
nodes: {{{layout.nodes}}}
link: {{{layout.link}}}
host: {{zero tracking: off}}
timeline:
{timeline}
"""


def built(name: str, seed: int) -> Built:
    """One layout's scale and story; the seed draws its class, its noise, its clocks and its link as well."""
    layout, file = varied(LAYOUTS[name], name, seed), f"{name}.yaml"
    bare = assemble(load_text(text_of(layout, seed), file))
    spots = spots_of(layout, bare.plan.scale.receptor)
    return assemble(load_text(text_of(layout, seed, spots), file))


@dataclass(frozen=True, slots=True)
class Visit:
    """What came of one visit: what the host heard, what it was told, and the run for whoever scores."""

    case: Case
    ear: Ear
    trace: Trace


def visit(scale: Built, seed: int, *faults: StartFault, until_us: int | None = None, at_us: int = 0) -> Visit:
    """The story once, with faults from at_us to until_us (the end)."""
    plan = scale.plan
    more = [Scheduled(at_us, fault) for fault in faults]
    if until_us is not None:
        more += [Scheduled(until_us, EndFault(fault.key)) for fault in faults]
    plan = replace(plan, timeline=tuple(sorted((*more, *plan.timeline), key=lambda item: item.t_us)))
    bench, ear = Bench(plan, scale.profile, seed), Ear()
    bench.overhear(ear)
    bench.run(plan.lasts_us)
    ear.not_taken = bench.frames_not_taken
    return Visit(case_of(plan, settings=bench.host_settings), ear, bench.trace)
