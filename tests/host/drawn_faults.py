"""Faults drawn at random from the catalogue as it stands: where, how bad, and whether anything of it shows.

Nothing here names a fault: figures are drawn about their defaults, so a new fault is drawn as soon as it is
there.  Whether one shows is told by a twin: the same visit with the same seed and nothing wrong.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from benchsim.faults.fault import Entry, Parameter, Value, catalogue
from benchsim.ground.commands import StartFault
from benchsim.ground.errors import BadInput
from benchsim.host.diagnosis.hearing import NodeColumns, clock_ppm
from benchsim.record.trace import Flag
from benchsim.scenario.build import Built
from tests.host.site_story import Visit, built, visit

SLOW_US = 60_000_000
SHOWS_D, SHOWS_SHARE, SHOWS_S = 2.0, 0.05, 1.0
SHOWS_LOST, SHOWS_AGAIN, SHOWS_LATE_US, SHOWS_PPM = 0.03, 0.05, 80_000, 120.0
SHOWS = (
    f"a cell or the weight reads {SHOWS_D:g} d otherwise than its twin for {SHOWS_SHARE:.0%} of the visit, "
    f"or the weight is there or not otherwise for {SHOWS_S:g} s, or {SHOWS_LOST:.0%} of the frames are "
    f"lost, or {SHOWS_AGAIN:.0%} more come that are refused, or frames come {SHOWS_LATE_US // 1000} ms late, "
    f"or a clock is {SHOWS_PPM:g} ppm off"
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """One fault at one scale.  target: as a diagnosis names it."""

    layout: str
    seed: int
    fault: StartFault
    target: str
    at_us: int
    until_us: int | None


def draw(name: str, layout: str, seed: int, dice: random.Random) -> Drawn:
    """A fault, its place, its figures and its time.  Raises BadInput for figures that cannot be."""
    entry, scale = catalogue()[name], built(layout, seed)
    figures = {p.name: _figure(p, scale, dice) for p in entry.parameters}
    cells, nodes = len(scale.plan.scale.cells), len(scale.plan.nodes)
    target, number = f"the {entry.stage}", 0
    if entry.stage in ("cell", "wiring"):
        number = dice.randint(1, cells)
        target = f"cell {number}"
    elif entry.stage in ("node", "link"):
        number = dice.randint(1, nodes)
        target = f"node {number}"
    elif entry.stage in ("deck", "host"):
        target = _named(figures, target)
    at_us, until_us = _times(entry, scale.plan.lasts_us, dice)
    entry.make(figures)
    return Drawn(layout, seed, StartFault("drawn", name, number, figures), target, at_us, until_us)


def _named(figures: Mapping[str, Value], target: str) -> str:
    """The cell or node that a fault of the whole scale names among its figures."""
    for figure, what in (("support", "cell"), ("cell", "cell"), ("address", "node")):
        if figure in figures:
            return f"{what} {figures[figure]}"
    if "first" in figures and "second" in figures:
        return (
            f"cells {min(figures['first'], figures['second'])} and {max(figures['first'], figures['second'])}"
        )
    return target


def _times(entry: Entry, lasts_us: int, dice: random.Random) -> tuple[int, int | None]:
    """A fault with figures is there when the technician comes; one without may come, and go, meanwhile."""
    if entry.stage not in ("node", "link") or any(not p.words for p in entry.parameters):
        return 0, None
    at_us = dice.choice((0, dice.randrange(lasts_us // 5, lasts_us // 2)))
    return at_us, dice.choice((None, at_us + dice.randrange(5_000_000, 40_000_000)))


def _figure(p: Parameter, scale: Built, dice: random.Random) -> Value:
    """One figure: a word, a number of something that is there, or about its default, within its range."""
    if p.words:
        return dice.choice(p.words)
    assert not isinstance(p.default, str)
    cells, nodes = len(scale.plan.scale.cells), len(scale.plan.nodes)
    numbers = dict.fromkeys(("support", "cell", "first", "second"), cells) | {"address": nodes, "strap": 16}
    if p.name in numbers:
        return dice.randint(1, numbers[p.name])
    if p.dimension is None and isinstance(p.default, int):
        return dice.randint(max(int(p.low), p.default // 2), min(int(p.high), 2 * p.default + 6))
    value = _about(p, abs(p.default) or 1.0, dice)
    if p.low < 0 and dice.random() < 0.5:
        value = -value
    value = min(max(value, p.low), p.high)
    return round(value) if isinstance(p.default, int) else value


def _about(p: Parameter, size: float, dice: random.Random) -> float:
    """A figure evenly spread in its logarithm; slow times from none at all to twenty minutes."""
    low, high = size / 5.0, size * 5.0
    if size >= SLOW_US and p.name.endswith("_us"):
        if p.low == 0 and dice.random() < 0.5:
            return 0.0
        low, high = max(p.low, 10e6), 1200e6
    elif p.dimension is not None and p.dimension.name == "resistance":
        low, high = size / 20.0, size * 20.0
    elif p.low >= 0 and p.high <= 1.0:
        high = min(p.high, 3.0 * size)
    return float(low * (high / low) ** dice.random())


LEARN_SEEDS, SCORE_SEEDS, TEST_SEEDS = range(1, 9), range(501, 509), range(201, 203)
"""Of the visits that a diagnosis learns from, of those that it is scored by, and of those of the tests."""


HOPELESS = 24
"""After so many draws of which none shows anything, no more are made."""


@cache
def twin(layout: str, seed: int) -> Visit:
    """The same visit with nothing wrong."""
    return visit(built(layout, seed), seed)


def visited(drawn: Drawn) -> Visit:
    """The visit with the fault."""
    return visit(
        built(drawn.layout, drawn.seed), drawn.seed, drawn.fault, at_us=drawn.at_us, until_us=drawn.until_us
    )


def shows(ill: Visit, well: Visit) -> bool:
    """Whether anything of it can be seen at the host's side, by SHOWS."""
    a, b = ill.trace.columns(), well.trace.columns()
    rows = min(len(a.t_us), len(b.t_us))
    d_kg = float(ill.case.interval)
    apart = np.nan_to_num(np.abs(a.cells_kg[:rows] - b.cells_kg[:rows])) > SHOWS_D * d_kg
    if apart.mean(axis=0).max() > SHOWS_SHARE:
        return True
    differ_d = np.abs(a.gross_d[:rows] - b.gross_d[:rows])[a.shows_figure()[:rows] & b.shows_figure()[:rows]]
    if len(differ_d) and (differ_d > SHOWS_D).mean() > SHOWS_SHARE:
        return True
    otherwise = a.flag(Flag.VALID)[:rows] != b.flag(Flag.VALID)[:rows]
    if otherwise.mean() * float(a.t_us[rows - 1]) / 1e6 > SHOWS_S:
        return True
    nodes = ill.ear.hearing(ill.case.addresses, ill.case.rate_hz).nodes
    not_taken = ill.ear.not_taken
    return any(
        _link_shows(node, ill.case.rate_hz) or not_taken[address] > SHOWS_AGAIN * len(node.first)
        for address, node in nodes.items()
    )


def _link_shows(node: NodeColumns, rate_hz: int) -> bool:
    if len(node.first) < 20:
        return True
    fresh = ~node.resent
    got = len(np.unique(node.first[fresh])) * node.rows
    sent = int(np.ptp(node.first[fresh])) + node.rows
    late_us = node.arrived_us[fresh] - node.begins_us[fresh] - node.rows * 1_000_000 // rate_hz
    ppm = clock_ppm(node)
    return (
        got < (1.0 - SHOWS_LOST) * sent
        or float(np.median(late_us)) > SHOWS_LATE_US
        or (ppm is not None and abs(ppm[0]) > SHOWS_PPM)
    )


def drawn_visits(
    name: str, layouts: Iterable[str], seeds: Sequence[int], count: int, dice: random.Random, tries: int = 6
) -> list[tuple[Drawn, Visit]]:
    """So many visits with this fault, each showing something; fewer where it hardly ever does."""
    made: list[tuple[Drawn, Visit]] = []
    for turn in range(count * tries):
        if len(made) == count or (turn >= HOPELESS and not made):
            break
        layout = dice.choice(tuple(layouts))
        try:
            drawn = draw(name, layout, dice.choice(seeds), dice)
            ill = visited(drawn)
        except BadInput:
            continue
        if shows(ill, twin(drawn.layout, drawn.seed)):
            made.append((drawn, ill))
    return made
