"""What holds at a station between two changes: from loads on the deck to ideal readings in counts.

A chunk of samples, counted from the change, is one of three: the deck rests, it swings freely under loads
that stand, or something moves on it.  Which one follows from the law and the state before it alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsim.scale.bridge import channel, warm
from benchsim.scale.cell import Bank, CellState
from benchsim.scale.digitiser import Figures, figures
from benchsim.scale.forces import Forces, Step
from benchsim.scale.grid import Grid
from benchsim.scale.node_warmth import warmed
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Site, Wiring
from benchsim.scale.recursion import CHUNK, swing, turned

Floats = NDArray[np.float64]

# A deck that moves less than this, as a fraction of E_max, has come to rest: far below any count.
_REST = 1e-11


@dataclass(frozen=True, slots=True)
class Setup:
    """What a station is made of, apart from the deck."""

    cells: tuple[Cell, ...]
    wiring: tuple[Wiring, ...]
    digitiser: Digitiser
    site: Site

    @classmethod
    def of(cls, parts: ScaleParts, station: int) -> Setup:
        card = parts.stations[station]
        return cls(
            tuple(parts.cells[i] for i in card.cells),
            tuple(parts.wiring[i] for i in card.cells),
            warmed(card.digitiser, parts.site.temperature_c),
            parts.site,
        )


@dataclass(frozen=True, slots=True)
class Electric:
    """Cells and converter of a setup, ready for samples.

    gain, offset: (cells, 1), a cell's own output in mV/V to counts.  status: (cells,), of the wiring.
    """

    setup: Setup
    bank: Bank
    figures: Figures
    gain: Floats
    offset: Floats
    status: NDArray[np.uint8]
    wiring: tuple[Wiring, ...]  # at the temperature of the site

    @classmethod
    def of(cls, setup: Setup, before: Electric | None = None) -> Electric:
        """before: of the same station, to take what does not change with the site from."""
        wiring = tuple(warm(w, setup.site) for w in setup.wiring)
        if before is not None and replace(before.setup, site=setup.site) == setup and before.wiring == wiring:
            return replace(before, setup=setup, bank=before.bank.at(setup.site))
        found = figures(setup.digitiser)
        lines = [
            channel(c, w, setup.digitiser.common_mode_error) for c, w in zip(setup.cells, wiring, strict=True)
        ]
        return cls(
            setup,
            Bank.of(setup.cells, setup.site, setup.digitiser.rate_hz),
            found,
            np.array([[line.gain * found.scale] for line in lines]),
            np.array([[line.offset_mv_per_v * found.scale] for line in lines]),
            np.array([int(line.status) for line in lines], np.uint8),
            wiring,
        )


@dataclass(frozen=True, slots=True)
class State:
    """What lies behind the next sample.

    carried_kg: static, at the last one.  e, z: deck, see Pendulum.  held_kg: what binds beside the cells
    holds of it, (cells,).  steps: what has come since.
    """

    carried_kg: Floats
    e: Floats
    z: Floats
    cells: CellState
    held_kg: Floats
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """Ideal readings in counts, (cells, n), and the state after so many of them, 1 to n."""

    ideal: Floats
    after: Callable[[int], State]


@dataclass(frozen=True, slots=True)
class Law:
    """What holds from since_us to the next change: samples follow from it and from the state."""

    grid: Grid
    forces: Forces
    electric: Electric
    since_us: int

    def rest(self) -> State:
        """The state of a deck without a load that has stood for ever."""
        dead_kg = self.forces.dead_kg[:, 0].copy()
        none = np.zeros(len(dead_kg))
        return State(dead_kg, none, none, self.electric.bank.rest(dead_kg), none)

    def converts_as(self, other: Law) -> bool:
        """Whether samples of both may be converted at once."""
        if self.electric is other.electric and self.grid is other.grid:
            return True
        here, there = self.electric, other.electric
        alike = self.grid is other.grid and here.figures == there.figures
        return alike and bool((here.status == there.status).all())

    def followed_by(self, forces: Forces, state: State, sample: int, t_us: int) -> State:
        """The state before `sample` when these forces take the place of this law's at t_us."""
        if forces is self.forces and not forces.deck.moving:
            return state
        steps = [*state.steps, *self._axle_steps(sample, t_us)]
        jump_kg = forces.at(t_us) - self.forces.at(t_us)
        if jump_kg.any():
            steps.append(Step(t_us, jump_kg))
        return replace(state, steps=tuple(steps))

    def walk(self, state: State, first: int, count: int) -> list[Stretch]:
        """`count` samples from `first` on, the start of a chunk."""
        pieces: list[Stretch] = []
        end = first + count
        bank = self.electric.bank
        state = replace(state, cells=bank.fitted(state.cells))
        while first < end:
            most = -(-(end - first) // CHUNK)
            if state.cells.off_k.any():
                if warming := bank.warms(state.cells, most):
                    most = warming
                else:
                    state = replace(state, cells=bank.settled(state.cells))
            still = self._still_chunks(first, most)
            if not still:
                piece = self._lively(state, first, min(most * CHUNK, end - first))
            elif self._rests(state, first):
                piece = self._quiet(state, min(still * CHUNK, end - first))
            else:
                piece = self._free(state, first, min(still * CHUNK, end - first))
            pieces.append(piece)
            first += piece.ideal.shape[1]
            if first < end:
                state = piece.after(piece.ideal.shape[1])
        return pieces

    def _axle_steps(self, sample: int, end_us: int) -> list[Step]:
        """Steps of axles since the sample before `sample`, before end_us, as far as this law holds."""
        return self.forces.steps(max(self.since_us, self.grid.time_us(sample - 1)), end_us)

    def _still_chunks(self, first: int, most: int) -> int:
        """How many whole chunks from `first` on lie before the next motion, up to `most`."""
        motion_us = self.forces.deck.next_motion_us(self.grid.time_us(first - 1))
        if motion_us is None:
            return most
        return min(most, max(0, (self.grid.completed(motion_us) - first) // CHUNK))

    def _rests(self, state: State, first: int) -> bool:
        """Whether the deck has come to rest under what it carries at sample `first`."""
        if state.steps or not self._calm(state.e, state.z):
            return False
        return bool((self.forces.at(self.grid.time_us(first)) == state.carried_kg).all())

    def _calm(self, e: Floats, z: Floats) -> bool:
        size = np.maximum(np.abs(e), np.abs(z)) * self.electric.bank.per_kg[:, 0]
        return bool(size.max() <= _REST)

    def _counts(self, output: Floats) -> Floats:
        return output * self.electric.gain + self.electric.offset

    def _quiet(self, state: State, count: int) -> Stretch:
        """`count` samples of a deck that rests."""
        seen_kg, held_kg = self._past_binding(state.carried_kg[:, None], state)
        output, cells_after = self.electric.bank.still(seen_kg[:, 0], state.cells, count)
        none = np.zeros_like(state.e)
        return Stretch(
            self._counts(output),
            lambda n: State(state.carried_kg, none, none, cells_after(n), held_kg[:, 0].copy()),
        )

    def _past_binding(self, mass_kg: Floats, state: State) -> tuple[Floats, Floats]:
        """What reaches the cells of masses on the supports, and what is held beside them; (cells, n)."""
        if self.forces.binding is None:
            return mass_kg, np.zeros((len(mass_kg), 1))
        return self.forces.binding.past(mass_kg, state.held_kg, state.carried_kg + state.e)

    def _free(self, state: State, first: int, count: int) -> Stretch:
        """Up to `count` samples of a deck that swings under loads that stand; fewer when it comes to rest."""
        response = self.forces.response
        carried_kg = self.forces.at(self.grid.time_us(first))
        driven_e, driven_z = self._driven(state, first, carried_kg[:, None])
        e, z = turned(response.turn(1), state.e, state.z)
        e, z = e + driven_e[:, 0], z + driven_z[:, 0]
        chunks = -(-count // CHUNK)
        starts_e, starts_z = np.empty((2, len(e), chunks, 1))
        done = 0
        while done < chunks:
            starts_e[:, done, 0], starts_z[:, done, 0] = e, z
            done += 1
            e, z = turned(response.turn(CHUNK - 1), e, z)
            if self._calm(e, z):
                break
            e, z = turned(response.turn(1), e, z)
        count = min(count, done * CHUNK)
        ee, ez = response.table[0, :CHUNK], response.table[1, :CHUNK]
        late_e = (ee * starts_e[:, :done] + ez * starts_z[:, :done]).reshape(len(e), -1)[:, :count]
        seen_kg, held_kg = self._past_binding(carried_kg[:, None] + late_e, state)
        output, cells_after = self.electric.bank.under(seen_kg, state.cells)

        def after(n: int) -> State:
            chunk, place = divmod(n - 1, CHUNK)
            e, z = turned(response.turn(place), starts_e[:, chunk, 0], starts_z[:, chunk, 0])
            return State(carried_kg, e, z, cells_after(n), _column(held_kg, n))

        return Stretch(self._counts(output), after)

    def _lively(self, state: State, first: int, count: int) -> Stretch:
        """Up to `count` samples while something moves."""
        chunks, most = 1, -(-count // CHUNK)
        while chunks < most and not self._still_chunks(first + chunks * CHUNK, 1):
            chunks += 1
        carried_kg = self.forces.along(self.grid.times_us(first, chunks * CHUNK))
        driven_e, driven_z = self._driven(state, first, carried_kg)
        shape = (len(carried_kg), chunks, CHUNK)
        driven = driven_e.reshape(shape), driven_z.reshape(shape)
        e, z = swing(self.forces.response, driven, state.e, state.z)
        e, z = e.reshape(len(e), -1), z.reshape(len(z), -1)
        count = min(count, chunks * CHUNK)
        seen_kg, held_kg = self._past_binding(carried_kg[:, :count] + e[:, :count], state)
        output, cells_after = self.electric.bank.under(seen_kg, state.cells)

        def after(n: int) -> State:
            return State(
                carried_kg[:, n - 1].copy(), e[:, n - 1].copy(), z[:, n - 1].copy(), cells_after(n),
                _column(held_kg, n),
            )  # fmt: skip

        return Stretch(self._counts(output), after)

    def _driven(self, state: State, first: int, carried_kg: Floats) -> tuple[Floats, Floats]:
        """What the load's changes up to each sample from `first` on add to the deck's (e, z) at it.

        A step swings freely since its own time; what is left of a change is taken as straight between the
        samples.
        """
        response, grid, n = self.forces.response, self.grid, carried_kg.shape[1]
        straight = np.empty_like(carried_kg)
        straight[:, 0] = carried_kg[:, 0] - state.carried_kg
        np.subtract(carried_kg[:, 1:], carried_kg[:, :-1], out=straight[:, 1:])
        steps = [*state.steps, *self._axle_steps(first, grid.time_us(first + n - 1))]
        places = [max(0, grid.completed(step.t_us) - first) for step in steps]
        for step, place in zip(steps, places, strict=True):
            straight[:, place] -= step.mass_kg
        e, z = response.drive[0] * straight, response.drive[1] * straight
        for step, place in zip(steps, places, strict=True):
            add_e, add_z = response.since_step(grid.time_us(first + place) - step.t_us)
            e[:, place] += add_e * step.mass_kg
            z[:, place] += add_z * step.mass_kg
        return e, z


def _column(values: Floats, n: int) -> Floats:
    """The last of the first n columns, or the only one there is."""
    return values[:, min(n, values.shape[1]) - 1].copy()
