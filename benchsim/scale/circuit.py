"""Resistors between named nodes, solved by nodal analysis in plain floats.

A circuit is solved once a change, never once a sample.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

# Less than this is no resistance: 3e-9 of 350 ohm.
_JOINED_OHM = 1e-6


@dataclass(slots=True)
class Circuit:
    """Resistors between named nodes, some of which are held at a voltage."""

    _conductance: dict[tuple[str, str], float] = field(default_factory=dict)
    _joined: dict[str, str] = field(default_factory=dict)

    def _node(self, name: str) -> str:
        while name in self._joined:
            name = self._joined[name]
        return name

    def resistor(self, a: str, b: str, ohm: float) -> None:
        """Connect two nodes: (almost) 0 ohm makes them one, infinite ohm connects nothing."""
        if ohm <= _JOINED_OHM:
            if self._node(a) != self._node(b):
                self._joined[self._node(a)] = self._node(b)
        elif ohm != math.inf:
            self._conductance[a, b] = self._conductance.get((a, b), 0.0) + 1.0 / ohm
        else:
            self._conductance.setdefault((a, b), 0.0)

    def one_node(self, a: str, b: str) -> bool:
        """Whether (almost) 0 ohm lies between them."""
        return self._node(a) == self._node(b)

    def out_of(self, name: str, volts: dict[str, float]) -> float:
        """The current in A that flows out of a node through its resistors, at these voltages."""
        here, sum_a = self._node(name), 0.0
        for (a, b), g in self._conductance.items():
            one, other = self._node(a), self._node(b)
            if here in (one, other) and one != other:
                sum_a += g * (volts[here] - volts[other if one == here else one])
        return sum_a

    def voltages(self, held: dict[str, float]) -> dict[str, float]:
        """The voltage of every node, where `held` nodes are held; a node with no way to them is at 0 V.

        Source: nodal analysis; star-mesh transform (Rosen, 1924).
        Nodes that are held at different voltages must not be joined; ask `one_node` before.
        """
        known = {self._node(n): v for n, v in held.items()}
        links = [(self._node(a), self._node(b), g) for (a, b), g in self._conductance.items() if g]
        names = sorted(_reached(known, links) - known.keys())
        place = {n: i for i, n in enumerate(names)}
        size = len(names)
        between = [[0.0] * size for _ in names]
        to_held, driven = [0.0] * size, [0.0] * size
        for a, b, g in links:
            for near, far in ((a, b), (b, a)):
                if near not in place or near == far:
                    continue
                here = place[near]
                if far in place:
                    between[here][place[far]] += g
                else:
                    to_held[here] += g
                    driven[here] += g * known[far]
        found = known | dict(zip(names, _star_mesh(between, to_held, driven), strict=True))
        everyone = {n for pair in self._conductance for n in pair} | set(held)
        everyone |= set(self._joined) | set(self._joined.values())
        return {n: found.get(self._node(n), 0.0) for n in everyone}


def _reached(start: Iterable[str], links: list[tuple[str, str, float]]) -> set[str]:
    """The nodes that conductance connects with the first ones."""
    reached = set(start)
    size = 0
    while size < len(reached):
        size = len(reached)
        for a, b, _ in links:
            if a in reached or b in reached:
                reached |= {a, b}
    return reached


def _star_mesh(between: list[list[float]], to_held: list[float], driven: list[float]) -> list[float]:
    """Voltages of nodes: one after the other its star of conductances is replaced by a mesh.

    between: conductances, symmetric.  to_held: of each node to held ones; driven: the same times voltage.
    All are overwritten.  Nothing is ever subtracted, so no digits are lost, however unlike the resistors.
    """
    size = len(driven)
    sums = [0.0] * size
    for k, star in enumerate(between):
        sums[k] = to_held[k] + sum(star[k + 1 :])
        for i in range(k + 1, size):
            if star[i] != 0.0:
                part = star[i] / sums[k]
                for j in range(k + 1, size):  # what falls on i itself is never looked at
                    between[i][j] += part * star[j]
                to_held[i] += part * to_held[k]
                driven[i] += part * driven[k]
    solution = [0.0] * size
    for k in range(size - 1, -1, -1):
        flow = sum(between[k][j] * solution[j] for j in range(k + 1, size))
        solution[k] = (driven[k] + flow) / sums[k]
    return solution
