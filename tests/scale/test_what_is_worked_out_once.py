"""A slow fault changes one figure a second; what does not hang on it is not worked out again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchsim.scale import bridge, receptor
from benchsim.scale.cell import Lags, Line
from benchsim.scale.parts import ScaleParts, Wiring
from benchsim.scale.recursion import lag, pendulum
from benchsim.scale.scale import Scale
from tests.scale.made import S, parts, scale

SOLVES = {
    "bridge": bridge._channel,
    "supports": receptor._bearing,
    "creep": Lags.of,
    "term": lag,
    "line": Line.of,
    "deck": pendulum,
}


def warmer(made: ScaleParts, second: int) -> ScaleParts:
    return replace(made, site=replace(made.site, temperature_c=20.0 + 0.01 * second))


def muddier(made: ScaleParts, second: int) -> ScaleParts:
    return replace(made, receptor=replace(made.receptor, dead_load_kg=400.0 + second))


def drifting(made: ScaleParts, second: int) -> ScaleParts:
    cells = tuple(replace(c, zero_balance_mv_per_v=1e-5 * second, creep=((1e-4, 7.0),)) for c in made.cells)
    return replace(made, cells=cells)


def wetter(made: ScaleParts, second: int) -> ScaleParts:
    return replace(made, wiring=(Wiring(leaks=(("SIG+", 1e9 / second),)), *made.wiring[1:]))


def solved() -> dict[str, int]:
    return {name: kept.cache_info().misses for name, kept in SOLVES.items()}


def run(running: Scale, made: ScaleParts, vary: Callable[[ScaleParts, int], ScaleParts], first: int) -> None:
    for second in range(first, first + 10):
        running.change(vary(made, second), second * S)
        running.read(0, (second + 1) * S)


@pytest.mark.parametrize(
    ("vary", "again"),
    [(warmer, {}), (muddier, {}), (drifting, {}), (wetter, {"bridge": 10})],
)
def test_only_what_hangs_on_the_change_is_solved_again(
    vary: Callable[[ScaleParts, int], ScaleParts], again: dict[str, int]
) -> None:
    made = parts(dead_load_kg=400.0)
    running = scale(made)
    run(running, made, vary, 1)
    before = solved()
    run(running, made, vary, 11)
    assert {name: n - before[name] for name, n in solved().items() if n > before[name]} == again
