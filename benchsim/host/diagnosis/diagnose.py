"""From what a host heard and what was noted at the scale to the likeliest causes, with the evidence for each.

A scale is healthy when nothing stands out, or nothing that any known fault explains better; the rest is
weighing.  Nothing here knows the truth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchsim.host.diagnosis import (
    answers,
    exchanged,
    flow,
    marks,
    pattern,
    roughness,
    shown,
    tilt,
    wandering,
)
from benchsim.host.diagnosis.hearing import Hearing
from benchsim.host.diagnosis.known import KNOWN
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Case, Cause, Diagnosis, Place, Sign
from benchsim.host.diagnosis.weighing import Known, Weighed, weigh

OF_A_CELL = (marks, answers, wandering, roughness)
"""The kinds of evidence on a cell, a module each: WORDS, and `signs(looks, cell)`."""
_KINDS = (*OF_A_CELL, flow, pattern, shown, tilt, exchanged)
WORDS = {name: words for kind in _KINDS for name, words in kind.WORDS.items()}


@dataclass(frozen=True, slots=True)
class Seen:
    """All signs.  places: every cell and node.  signs: those to weigh, by name.

    targets: where a fault is, by the kind of its target, if there is one.
    """

    places: tuple[Place, ...]
    signs: Mapping[str, Sign]
    targets: Mapping[str, str]

    @property
    def quiet(self) -> bool:
        """Whether nothing stands out anywhere."""
        every = [*self.signs.values(), *(sign for place in self.places for sign in place.signs.values())]
        return all(sign.quiet for sign in every)


def seen(case: Case, hearing: Hearing) -> Seen:
    """All that can be seen of a scale.  Weighed are the loudest cell, the loudest node, and the whole."""
    looks = Looks(case, hearing)
    cells = [
        Place("cell", cell + 1, _by_name([s for kind in OF_A_CELL for s in kind.signs(looks, cell)]))
        for cell in range(len(case.seats))
    ]
    nodes = [Place("node", address, _by_name(flow.signs(looks, address))) for address in case.addresses]
    (sign, support), (swap, pair) = tilt.tilt(looks), exchanged.exchanged(looks)
    cell, node = max(cells, key=lambda p: p.size), max(nodes, key=lambda p: p.size)
    if support is not None:
        cell = cells[support]
    if not node.loud:  # the node of the cell that stands out
        node = next(n for n in nodes if n.number == case.seats[cell.number - 1].address)
    elif not cell.loud:  # a cell of the node that does
        cell = next(c for c in cells if case.seats[c.number - 1].address == node.number)
    whole = _by_name([*pattern.signs(looks, cells, nodes, cell), *shown.signs(looks), sign, swap])
    one, other = pair or (cell.number - 1, cell.number % len(cells))
    targets = {
        "cell": f"cell {cell.number}",
        "pair": f"cells {min(one, other) + 1} and {max(one, other) + 1}",
        "node": f"node {node.number}",
    }
    return Seen((*cells, *nodes), {**cell.signs, **node.signs, **whole}, targets)


def diagnose(case: Case, hearing: Hearing, known: Mapping[str, Known] = KNOWN, most: int = 5) -> Diagnosis:
    """What ails the scale.  most: so many causes at the most."""
    all_seen = seen(case, hearing)
    gaps = _gaps(all_seen.signs, case)
    if all_seen.quiet:
        return Diagnosis(True, (), all_seen.places, gaps)
    causes = tuple(_cause(one, all_seen) for one in weigh(all_seen.signs, known)[:most])
    if causes[0].log_odds <= 0:  # no fault that is known makes what stands out likelier than a healthy scale
        return Diagnosis(True, (), all_seen.places, gaps)
    return Diagnosis(False, causes, all_seen.places, gaps)


def _by_name(signs: list[Sign]) -> dict[str, Sign]:
    return {sign.name: sign for sign in signs}


def _cause(found: Weighed, all_seen: Seen) -> Cause:
    """With its place: where a fault of its kind sits."""
    target = all_seen.targets.get(found.known.target, f"the {found.known.target}")
    return Cause(found.name, target, found.log_odds, found.share, found.evidence)


def _gaps(signs: Mapping[str, Sign], case: Case) -> tuple[str, ...]:
    """What the data were not enough for."""
    gaps = []
    if signs["answer"].word == UNKNOWN:
        gaps.append(
            "No known load was seen to come or go on the cell that matters: its answer to load is unknown."
        )
    if not any(note.empty for note in case.notes):
        gaps.append("The deck is not known to have been empty at any time: zeros cannot be compared.")
    if signs["loop"].word == UNKNOWN:
        gaps.append("No load stood both on its way up and on its way down.")
    return tuple(gaps)
