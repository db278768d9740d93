"""Whether a state held, at any instants of a trace: the statements of a check as arrays of truth.

What stood at an instant is the last indication (or the last change of a node's step) at or before it.
A state that cannot be told (no indication yet, no figure shown, a true value that is no number) is
undefined: it neither holds nor fails to.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from benchsim.checks.quantities import ERRORS, Operand, Quantity, Subject, Tolerance
from benchsim.checks.statements import Blank, FlagIs, NodeIs, State, Steady, WeightIs
from benchsim.checks.tolerances import BOUND, Reach, Scale, reach
from benchsim.ground.errors import BadInput
from benchsim.record.trace import Columns, Flag, Trace
from benchsim.rules.profile import Profile

Instants = NDArray[np.int64]
Truth = NDArray[np.bool_]
Grains = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Seen:
    """holds, defined: (n,), by instant."""

    holds: Truth
    defined: Truth


class Look:
    """One trace under one profile, looked at by checks."""

    def __init__(self, trace: Trace, profile: Profile) -> None:
        self.trace, self.profile = trace, profile
        self.columns: Columns = trace.columns()
        self.scale = Scale.of(trace)

    # -- when to look --------------------------------------------------------------------------------

    def instants(self, state: State, start_us: int, end_us: int) -> Instants:
        """When a state may have changed, within a stretch, both ends counted.

        Also the stretch's start: what stands there, and for a node even a step that never changes, is a
        state all the same.  Before the first indication there is no state of it.
        """
        if not isinstance(state, NodeIs):
            times = self.columns.t_us
            first = int(np.searchsorted(times, start_us))
            end = int(np.searchsorted(times, end_us, "right"))
            if end - first == len(times):
                return times
            stands = first > 0 and (first == len(times) or times[first] > start_us)
            return np.concatenate([np.array([start_us] if stands else [], np.int64), times[first:end]])
        changes = [
            t for t, s in self.trace.link_states if s.address == state.address and start_us < t <= end_us
        ]
        return np.array([start_us, *dict.fromkeys(changes)], np.int64)

    def first_us(self) -> int:
        """When something was first shown; 0 when nothing was."""
        times = self.columns.t_us
        return int(times[0]) if len(times) else 0

    def _rows(self, t_us: Instants) -> NDArray[np.intp]:
        """The row that stood at each instant, -1 for none."""
        if t_us is self.columns.t_us:
            return np.arange(len(t_us))
        return np.searchsorted(self.columns.t_us, t_us, "right") - 1

    # -- whether it held -----------------------------------------------------------------------------

    def see(self, state: State, t_us: Instants) -> Seen:
        """Whether a state held at each instant.  Raises BadInput for a cell that is not there."""
        if isinstance(state, NodeIs):
            return self._see_node(state, t_us)
        rows = self._rows(t_us)
        there = rows >= 0
        if not len(self.columns.t_us):
            return Seen(there, there)
        if isinstance(state, Steady):
            holds, defined = self._see_steady(state, rows)
        elif isinstance(state, WeightIs):
            holds, defined = self._see_weight(state, rows)
        elif isinstance(state, Blank):
            holds, defined = self.columns.shows_figure()[rows] != state.blank, there
        else:
            holds, defined = self._see_flag(state, rows)
        return Seen(holds, defined & there)

    def _see_flag(self, state: FlagIs, rows: NDArray[np.intp]) -> tuple[Truth, Truth]:
        holds = self.columns.flag(state.flag)[rows] == state.on
        if state.flag is not Flag.VALID:
            return holds, self.columns.flag(Flag.VALID)[rows]
        if state.reason is not None:
            meets = np.array([state.reason.meets(reason) for reason in self.columns.reasons])
            holds = holds & meets[self.columns.reason[rows]]
        return holds, np.ones(len(rows), np.bool_)

    def _see_node(self, state: NodeIs, t_us: Instants) -> Seen:
        changes = [(t, s) for t, s in self.trace.link_states if s.address == state.address]
        if not changes:
            nothing = np.zeros(len(t_us), np.bool_)
            return Seen(nothing, nothing)
        meets = np.array(
            [
                (s.step == state.step and (state.reason is None or state.reason.meets(s.reason)))
                != state.negated
                for _, s in changes
            ]
        )
        index = np.searchsorted(np.array([t for t, _ in changes], np.int64), t_us, "right") - 1
        return Seen(meets[index], index >= 0)

    def _see_weight(self, state: WeightIs, rows: NDArray[np.intp]) -> tuple[Truth, Truth]:
        value, defined = self.grains(state.subject, rows)
        target, known = self._target(state.target, rows)
        defined = defined & known
        if state.how == "within":
            allowed = self.reach(state, rows)
            holds = (value <= allowed.above(target)) & (value >= allowed.below(target))
        elif state.how == "between" and state.upper is not None:
            upper, known = self._target(state.upper, rows)
            if isinstance(target, Fraction) and isinstance(upper, Fraction) and target > upper:
                raise BadInput(f"{state.text!r} runs backwards", "between the smaller and the larger")
            defined = defined & known
            holds = (value >= _limit(target, math.ceil)) & (value <= _limit(upper, math.floor))
        else:
            holds = _COMPARISONS[state.how](value, target)
        return holds != state.negated, defined

    def _see_steady(self, state: Steady, rows: NDArray[np.intp]) -> tuple[Truth, Truth]:
        times = self.columns.t_us
        value, defined = self.grains(state.subject, np.arange(len(times)))
        changes = np.ones(len(times), np.bool_)
        changes[1:] = (value[1:] != value[:-1]) | (defined[1:] != defined[:-1])
        since_us = np.maximum.accumulate(np.where(changes, times, 0))
        return (times - since_us >= state.for_us)[rows], defined[rows]

    # -- weights -------------------------------------------------------------------------------------

    def grains(self, subject: Subject, rows: NDArray[np.intp]) -> tuple[Grains, Truth]:
        """A weight by row, in grains, and where it is one."""
        if subject.name == "true mass":
            return self.scale.of_kg(self.columns.true_kg[rows])
        if subject.name == "cell":
            return self._cell(subject.number, rows)
        if subject.name in ERRORS:
            gross, shown_there = self.grains(
                Subject("gross" if subject.name == "error" else "fine gross"), rows
            )
            true, known = self.grains(Subject("true mass"), rows)
            return gross - true, shown_there & known
        return self._indicated(subject.name, rows), self.columns.shows_figure()[rows]

    def _indicated(self, name: str, rows: NDArray[np.intp]) -> Grains:
        columns = self.columns
        if name == "shown":
            net = columns.flag(Flag.SHOWS_NET)[rows]
            return self.scale.of_counts(np.where(net, columns.net_d[rows], columns.gross_d[rows]))
        if name.startswith("fine "):
            tenths = columns.tenths_gross_d if name == "fine gross" else columns.tenths_net_d
            return self.scale.of_counts(tenths[rows]) // 10
        counts = {"gross": columns.gross_d, "net": columns.net_d, "tare": columns.tare_d}[name]
        return self.scale.of_counts(counts[rows])

    def _cell(self, number: int, rows: NDArray[np.intp]) -> tuple[Grains, Truth]:
        if number > self.trace.cells:
            raise BadInput(f"there is no cell {number}", f"the scale has {self.trace.cells}")
        value, sane = self.scale.of_kg(self.columns.cells_kg[:, number - 1][rows])
        return value, sane

    def _target(self, operand: Operand, rows: NDArray[np.intp]) -> tuple[Fraction | Grains, Truth]:
        if isinstance(operand, Quantity):
            return self.scale.grains(operand), np.ones(len(rows), np.bool_)
        return self.grains(operand, rows)

    def is_zero(self, operand: Operand) -> bool:
        """Whether a check wrote down zero."""
        return isinstance(operand, Quantity) and not operand.value

    def reach(self, state: WeightIs, rows: NDArray[np.intp]) -> Reach:
        """How far off a `within` may be, by row."""
        tolerance = state.tolerance or Tolerance(Decimal(0), "d")
        target, _ = self._target(state.target, rows)
        true, _ = self.grains(Subject("true mass"), rows)
        return reach(tolerance, self.scale, self.profile, target, true)


def _limit(target: Fraction | Grains, rounding: Callable[[Fraction], int]) -> int | Grains:
    if isinstance(target, Fraction):
        return max(-BOUND, min(BOUND, rounding(target)))
    return target


# A whole number is above a limit exactly when it is above the limit rounded down, and so on.
_COMPARISONS: dict[str, Callable[[Grains, Fraction | Grains], Truth]] = {
    "above": lambda value, target: value > _limit(target, math.floor),
    "below": lambda value, target: value < _limit(target, math.ceil),
    "at least": lambda value, target: value >= _limit(target, math.ceil),
    "at most": lambda value, target: value <= _limit(target, math.floor),
}
