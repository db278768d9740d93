"""What a fault does to a reading, on one small story that is run for it: before, while it lasts, afterwards.

Nothing here is typed in: the bench runs twice, with the fault and without, and the plot is of what its host
showed.  What takes hours is told to take seconds, and that is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsim.bench.bench import Bench
from benchsim.checks.around import BARS, NO_FIGURE
from benchsim.faults.fault import Entry, Parameter
from benchsim.ground.clock import SECOND_US, seconds
from benchsim.ground.rounding import shown
from benchsim.ground.units import TIME, mass_text
from benchsim.record.trace import Trace
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load_text

BEGINS_S, ENDS_S, LASTS_S = 8, 20, 30
LONG_US, SHORT_US = 10 * SECOND_US, 8 * SECOND_US
STORY = """
title: {title}
scale: {{capacity: 30 t, interval: 10 kg, receptor: {{length: 8 m, width: 3 m, dead load: 4 t}}}}
cells:
  {{count: 6, capacity: 15 t, zero effect: 20 ppm/K, span effect: 20 ppm/K, lead resistance: 1 ohm,
   sensed: {sensed}}}
link: {{delay: 60 ms, jitter: 60 ms}}
timeline:
  - {{at: 3 s, place: 10 t, name: block, position: [2 m, 1 m]}}
{fault}  - {{at: 12 s, place: 4 t, name: crate, position: [5 m, 2 m]}}
  - {{at: 16 s, remove: crate}}
  - {{at: 22 s, pair: all}}
"""
ON = {"cell": ", on: cell 1", "wiring": ", on: cell 1", "node": ", on: node 1", "link": ", on: node 1"}
# What would be measured out on six conductors.
ON_FOUR = ("corroded-terminal",)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Story:
    """What the host showed with the fault and without it.  figures: those that are not the fault's own."""

    trace: Trace
    sound: Trace
    figures: dict[str, str]


def play(entry: Entry) -> Story:
    """Run the story of one fault."""
    figures = {p.word: p.shown(max(SHORT_US, p.low)) for p in entry.parameters if _too_long(p)}
    with_ = ", with: {" + ", ".join(f"{word}: {value}" for word, value in figures.items()) + "}"
    lasts_s, where = ENDS_S - BEGINS_S, ON.get(entry.stage, "") + (with_ if figures else "")
    fault = f"  - {{at: {BEGINS_S} s, fault: {entry.name}{where}, for: {lasts_s} s}}\n"
    sensed = "off" if entry.name in ON_FOUR else "on"
    return Story(_ran(entry.name, fault, sensed), _ran("no fault", "", sensed), figures)


def _too_long(parameter: Parameter) -> bool:
    """Whether a time would not show within the story."""
    default = parameter.default
    return parameter.dimension is TIME and not isinstance(default, str) and default > LONG_US


def _ran(title: str, fault: str, sensed: str) -> Trace:
    built = assemble(load_text(STORY.format(title=title, fault=fault, sensed=sensed), "story"))
    bench = Bench(built.plan, built.profile, 1)
    bench.run(LASTS_S * SECOND_US)
    return bench.trace


def lines(story: Story, width: int = 80) -> list[str]:
    """The plot and what was said, no wider than width where that can be."""
    trace, columns, sound = story.trace, story.trace.columns(), story.sound.columns()
    count = max(20, min(60, width - 40))
    instants = np.linspace(0, LASTS_S * SECOND_US, count, endpoint=False, dtype=np.int64) + SECOND_US // 2
    rows = np.searchsorted(columns.t_us, instants, "right") - 1
    interval_kg, figure = float(trace.interval), columns.shows_figure()[rows]
    gross_kg = np.asarray(columns.gross_d[rows] * interval_kg, np.float64)
    moved_kg = gross_kg - sound.gross_d[rows] * interval_kg
    cell_kg = columns.cells_kg[rows, 0] - sound.cells_kg[rows, 0]
    named = [
        ("weight", _row(gross_kg, figure, instants)),
        ("true mass", _row(columns.true_kg[rows], np.ones_like(figure), instants)),
        ("changed by", _row(moved_kg, figure & sound.shows_figure()[rows], instants)),
        ("cell 1 by", _row(cell_kg, ~np.isnan(cell_kg), instants)),
        ("", f"it acts between the lines, {BEGINS_S} s to {ENDS_S} s of {LASTS_S} s; {NO_FIGURE} no figure"),
        *((f"at {t} s", _at(trace, t * SECOND_US)) for t in (BEGINS_S - 1, ENDS_S - 1, LASTS_S - 1)),
        *(("said", text) for text in _said(trace)),
    ]
    if story.figures:
        told = ", ".join(f"{word} {value}" for word, value in story.figures.items())
        named.append(("shortened", f"{told}, so that it shows here"))
    left = max(len(name) for name, _ in named)
    return [f"{name:<{left}}  {text}".rstrip() for name, text in named]


def _row(value: Floats, there: NDArray[np.bool_], instants: NDArray[np.int64]) -> str:
    """Bars, with a line where the fault begins and where it ends, and between what they lie."""
    seen = value[there]
    low, high = (float(seen.min()), float(seen.max())) if len(seen) else (0.0, 0.0)
    step = (high - low) / (len(BARS) - 1)
    bars = [
        BARS[round((v - low) / step) if step else len(BARS) // 2] if ok else NO_FIGURE
        for v, ok in zip(value.tolist(), there.tolist(), strict=True)
    ]
    begin, end = np.searchsorted(instants, [BEGINS_S * SECOND_US, ENDS_S * SECOND_US]).tolist()
    plot = "│".join("".join(part) for part in (bars[:begin], bars[begin:end], bars[end:]))
    return f"{plot}  " + " to ".join(dict.fromkeys((_mass(low), _mass(high)))) if len(seen) else plot


def _mass(value_kg: float) -> str:
    """Three digits are enough beside a bar."""
    return mass_text(float(f"{value_kg:.3g}") if abs(value_kg) >= 0.001 else 0.0)


def _at(trace: Trace, t_us: int) -> str:
    now = trace.indication_at(t_us)
    if now is None:
        return "nothing yet"
    figure = f"{shown(now.gross_d, trace.interval)} {trace.unit}" if now.shows_figure else "no figure"
    motion = ["in motion"] if now.valid and now.motion else []
    return ", ".join([figure, *motion, *([now.reason] if now.reason else [])])


def _said(trace: Trace, most: int = 4) -> list[str]:
    """What host and nodes said while the fault lasted: each thing once, when it was first said."""
    heard: dict[str, int] = {}
    for t_us in range(BEGINS_S * SECOND_US, (ENDS_S + 2) * SECOND_US, SECOND_US // 10):
        now = trace.indication_at(t_us)
        if now is not None and now.reason:
            heard.setdefault(now.reason, t_us)
    for event in trace.events:
        if event.kind == "node":
            heard.setdefault(event.text, event.t_us)
    told = sorted(heard.items(), key=lambda item: item[1])[:most]
    return [f"{text} (first at {seconds(t_us)})" for text, t_us in told]
