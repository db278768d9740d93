"""From what a host heard and what was noted at the scale to the likeliest causes, with the evidence for each.

A scale on which nothing stands out is healthy; the rest is weighing.  Nothing here knows the truth.
"""

from __future__ import annotations

from collections.abc import Mapping

from benchsim.host.diagnosis import answers, flow, marks, pattern, roughness, tilt, wandering
from benchsim.host.diagnosis.hearing import NodeColumns
from benchsim.host.diagnosis.known import KNOWN
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Case, Cause, Diagnosis, Place, Sign
from benchsim.host.diagnosis.weighing import Known, Weighed, weigh

OF_A_CELL = (marks, answers, wandering, roughness)
"""The kinds of evidence on a cell, a module each: WORDS, and `signs(looks, cell)`."""
WORDS = {name: words for kind in (*OF_A_CELL, flow, pattern, tilt) for name, words in kind.WORDS.items()}


def seen(
    case: Case, columns: Mapping[int, NodeColumns]
) -> tuple[tuple[Place, ...], dict[str, Sign], Place, Place]:
    """Every cell and node with its signs; the signs to weigh; the cell and the node that stand out most."""
    looks = Looks(case, columns)
    cells = [
        Place("cell", cell + 1, _by_name([s for kind in OF_A_CELL for s in kind.signs(looks, cell)]))
        for cell in range(len(case.seats))
    ]
    nodes = [Place("node", address, _by_name(flow.signs(looks, address))) for address in case.addresses]
    sign, support = tilt.tilt(looks)
    cell, node = max(cells, key=lambda p: p.size), max(nodes, key=lambda p: p.size)
    if support is not None:
        cell = cells[support]
    if not node.loud:  # the node of the cell that stands out
        node = next(n for n in nodes if n.number == case.seats[cell.number - 1].address)
    elif not cell.loud:  # a cell of the node that does
        cell = next(c for c in cells if case.seats[c.number - 1].address == node.number)
    whole = _by_name([*pattern.signs(looks, cells, nodes, cell), sign])
    return (*cells, *nodes), {**cell.signs, **node.signs, **whole}, cell, node


def diagnose(
    case: Case, columns: Mapping[int, NodeColumns], known: Mapping[str, Known] = KNOWN, most: int = 5
) -> Diagnosis:
    """What ails the scale.  most: so many causes at the most."""
    places, signs, cell, node = seen(case, columns)
    gaps = _gaps(signs, case)
    if all(sign.quiet for place in places for sign in place.signs.values()) and all(
        sign.quiet for sign in signs.values()
    ):
        return Diagnosis(True, (), places, gaps)
    found = weigh(signs, known)[:most]
    return Diagnosis(False, tuple(_cause(one, cell, node) for one in found), places, gaps)


def _by_name(signs: list[Sign]) -> dict[str, Sign]:
    return {sign.name: sign for sign in signs}


def _cause(found: Weighed, cell: Place, node: Place) -> Cause:
    """With its place: where a fault of its kind sits."""
    targets = {"cell": f"cell {cell.number}", "node": f"node {node.number}"}
    target = targets.get(found.known.target, f"the {found.known.target}")
    return Cause(found.name, target, found.log_odds, found.share, found.evidence)


def _gaps(signs: dict[str, Sign], case: Case) -> tuple[str, ...]:
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
