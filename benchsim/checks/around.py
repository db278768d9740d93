"""What lay around an instant of a run, in a few lines for a terminal: a plot, the reading, what happened.

gross      ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁│▂▄▆███████████████  0 kg to 1000 kg
true mass  ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁█│███████████████████  7 s to 13 s
at 10 s    1000 kg, in motion; true mass 1 t
before it  zero refused at 9 s: in motion
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsim.checks.explain import happened_text
from benchsim.ground.clock import seconds
from benchsim.ground.rounding import shown
from benchsim.ground.units import mass_text
from benchsim.record.trace import FLAGS, Trace

BEFORE_US = 3_000_000
"""How far the plot reaches to each side."""
MOST, LEAST = 40, 8
BARS = "▁▂▃▄▅▆▇█"
NO_FIGURE, NOT_YET = "·", " "


def around(trace: Trace, t_us: int, width: int = 80) -> list[str]:
    """At most four lines, no wider than width where that can be; none where nothing was shown yet.

    The bar behind the line stands at t_us.  A dot: no figure might be shown.
    """
    indication = trace.indication_at(t_us)
    if indication is None:
        return []
    on = [name.replace("_", " ") for name in FLAGS[1:] if getattr(indication, name)]
    why = "" if indication.valid else indication.reason
    state = ", ".join([indication.text.strip(), *on, *([why] if why else [])])
    at = trace.rows_before(t_us + 1) - 1
    true_kg = mass_text(round(float(trace.block(at, at + 1).true_kg[0]), 3))
    named = [*_plot(trace, t_us, width), (f"at {seconds(t_us)}", f"{state}; true mass {true_kg}")]
    before = [e for e in trace.events if e.kind not in ("answer", "client") and e.t_us <= t_us]
    if before:
        last = before[-1]
        text = happened_text(last) if last.kind == "command" else f"{last.text} at {seconds(last.t_us)}"
        named.append(("before it", text))
    left = max(len(name) for name, _ in named)
    return [f"{name:<{left}}  {text}".rstrip() for name, text in named]


def _plot(trace: Trace, t_us: int, width: int) -> list[tuple[str, str]]:
    """Gross and true mass over the seconds around t_us, on one scale."""
    half = max(LEAST, min(MOST, width - 40)) // 2
    instants = t_us + np.arange(-half, half + 1, dtype=np.int64) * (BEFORE_US // half)
    first, end = (trace.rows_before(int(instants[0])), trace.rows_before(int(instants[-1]) + 1))
    rows = trace.block(max(0, first - 1), end)
    at = np.searchsorted(rows.t_us, instants, "right") - 1
    there = (at >= 0) & (instants <= max(trace.last_us(), t_us))
    figure = there & rows.shows_figure()[at]
    gross_d, true_d = rows.gross_d[at].astype(np.float64), rows.true_kg[at] / float(trace.interval)
    seen = np.concatenate([gross_d[figure], true_d[there]])
    low, high = float(seen.min()), float(seen.max())
    ends = [f"{shown(round(d), trace.interval)} {trace.unit}" for d in (low, high)]
    span = f"{seconds(max(0, t_us - BEFORE_US))} to {seconds(t_us + BEFORE_US)}"
    return [
        ("gross", f"{_bars(gross_d, figure, there, low, high, half)}  {' to '.join(dict.fromkeys(ends))}"),
        ("true mass", f"{_bars(true_d, there, there, low, high, half)}  {span}"),
    ]


def _bars(
    value: NDArray[np.float64],
    figure: NDArray[np.bool_],
    there: NDArray[np.bool_],
    low: float,
    high: float,
    half: int,
) -> str:
    step = (high - low) / (len(BARS) - 1)
    bars = [
        BARS[round((v - low) / step) if step else len(BARS) // 2] if f else NO_FIGURE if t else NOT_YET
        for v, f, t in zip(value.tolist(), figure.tolist(), there.tolist(), strict=True)
    ]
    return f"{''.join(bars[:half])}│{''.join(bars[half:])}"
