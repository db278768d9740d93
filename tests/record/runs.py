"""Small made-up runs for tests of traces, recordings and checks."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from benchsim.ground.readings import Indication
from benchsim.record.container import Head
from benchsim.record.trace import Trace

D = Decimal(20)
MAX_D = 3000
UPDATE_US = 100_000


def indication(t_us: int, gross_d: int = 0, **changes: Any) -> Indication:
    """A stable, valid indication of a 60 t scale with d = 20 kg, unless changed."""
    tare_d = changes.pop("tare_d", 0)
    values: dict[str, Any] = {
        "valid": True,
        "reason": "",
        "unit": "kg",
        "interval": D,
        "tenths_gross_d": 10 * gross_d,
        "tenths_net_d": 10 * (gross_d - tare_d),
        "shows_net": False,
        "preset_tare": False,
        "motion": False,
        "centre_of_zero": gross_d == 0,
        "overload": False,
        "underload": False,
        "zero_error": False,
        "initial_zero_error": False,
        "tare_error": False,
    }
    return Indication(t_us=t_us, gross_d=gross_d, tare_d=tare_d, net_d=gross_d - tare_d, **(values | changes))


def trace(cells: int = 4, interval: Decimal = D) -> Trace:
    return Trace(cells, interval, "kg", MAX_D)


def run(
    updates: int,
    gross_d: Callable[[int], int] = lambda t_us: 0,
    true_kg: Callable[[int], float] | None = None,
    cells: int = 4,
    interval: Decimal = D,
    **changes: Callable[[int], Any],
) -> Trace:
    """Updates 0.1 s apart, from 0.1 s on.  Figures are functions of the time; truth is the gross shown."""
    made = trace(cells, interval)
    for t_us in range(UPDATE_US, UPDATE_US * (updates + 1), UPDATE_US):
        count = gross_d(t_us)
        mass_kg = true_kg(t_us) if true_kg else count * float(interval)
        figures = {name: value(t_us) for name, value in changes.items()}
        made.add(indication(t_us, count, interval=interval, **figures), mass_kg, [mass_kg / cells] * cells)
    return made


def between(start_s: float, end_s: float) -> Callable[[int], bool]:
    """Whether a time lies in a stretch, its end not counted."""
    return lambda t_us: start_s * 1e6 <= t_us < end_s * 1e6


def head(cells: int = 4, **changes: Any) -> Head:
    values: dict[str, Any] = {
        "version": "0.0",
        "seed": "7",
        "cells": cells,
        "interval": D,
        "unit": "kg",
        "capacity_d": MAX_D,
        "profile": "hb44-iiil-vehicle",
        "title": "A test",
        "sources": (("deck.yaml", "title: A test\n"),),
        "lasts_us": 60_000_000,
    }
    return Head(**(values | changes))


def same(one: Trace, other: Trace) -> bool:
    """Whether two traces hold the same, told through everything a reader of one can ask."""
    return (
        contents(one) == contents(other)
        and one.events == other.events
        and one.link_states == other.link_states
    )


def contents(made: Trace) -> list[tuple[Indication | None, list[float], list[list[float]]]]:
    columns = made.columns()
    times: Iterable[int] = columns.t_us.tolist()
    truth, cells = columns.true_kg.tolist(), columns.cells_kg.tolist()
    return [(made.indication_at(t), [truth[i]], [cells[i]]) for i, t in enumerate(times)]
