"""What the scale as a whole shows: how many cells and nodes stand out, whether alike, and the sums."""

from __future__ import annotations

import numpy as np

from benchsim.host.diagnosis.answers import _signed
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Place, Sign
from benchsim.link.steps import Reason

WORDS = {
    "cells": ("none", "one", "one's node", "several", "all"),
    "nodes": ("none", "one", "several", "all"),
    "doubled": ("no", "yes"),
    "broken": ("hardly any", "some", "many"),
    "alike": ("not", "less", "more"),
    "sum": ("right", "less", "more"),
    "zero sum": ("right", "high", "low"),
    "sum returns": ("comes back", "moves up", "moves down"),
    "signs differ": ("no", "yes"),
}
SUM_D, ALIKE, BROKEN = 1.0, 0.1, 0.003
"""Limits, own choice: of sums over all cells in d, more with more cells; how alike is alike, of the mean."""


def signs(looks: Looks, cells: list[Place], nodes: list[Place], worst: Place) -> list[Sign]:
    """Of the whole scale.  worst: the cell that stands out most."""
    return [
        _cells(looks, cells),
        _nodes(nodes),
        _doubled(nodes),
        _broken(looks),
        _alike(looks, worst),
        *_sums(looks),
        _signs_differ(looks),
    ]


def _cells(looks: Looks, cells: list[Place]) -> Sign:
    loud = [place.number - 1 for place in cells if place.loud]
    size = 10.0 if loud else 0.0
    names = ", ".join(str(c + 1) for c in loud)
    if len(loud) <= 1:
        text = f"only cell {names} stands out" if loud else "no cell stands out"
        return Sign("cells", "one" if loud else "none", size, text)
    if len(loud) == len(cells):
        return Sign("cells", "all", size, "all cells stand out")
    addresses = {looks.case.seats[c].address for c in loud}
    whole = len(addresses) == 1 and loud == looks.cells_of(addresses.pop())
    return Sign("cells", "one's node" if whole else "several", size, f"cells {names} stand out")


def _nodes(nodes: list[Place]) -> Sign:
    loud = [str(place.number) for place in nodes if place.loud]
    word = (
        "none" if not loud else "one" if len(loud) == 1 else "all" if len(loud) == len(nodes) else "several"
    )
    text = f"the link of node {', '.join(loud)} stands out" if loud else "no link stands out"
    return Sign("nodes", word, 10.0 if loud else 0.0, text)


def _doubled(nodes: list[Place]) -> Sign:
    there = [
        str(n.number) for n in nodes if n.signs["refusal"].word in (Reason.TWO_NODES, Reason.ANOTHER_NODE)
    ]
    text = f"address {', '.join(there)} heard more than one node" if there else "each address heard one node"
    return Sign("doubled", "yes" if there else "no", 10.0 if there else 0.0, text)


def _broken(looks: Looks) -> Sign:
    if 0 not in looks.hearing.not_taken:
        return Sign("broken", UNKNOWN, 0.0, "nobody counted wrong check sums")
    broken, frames = looks.hearing.not_taken[0], sum(len(n.first) for n in looks.hearing.nodes.values())
    share = broken / max(broken + frames, 1)
    size = share / BROKEN
    word = "hardly any" if size <= 1.0 else "some" if size <= 10.0 else "many"
    return Sign("broken", word, size, f"{broken} frames came with a wrong check sum ({share:.1%})")


def _alike(looks: Looks, worst: Place) -> Sign:
    address = looks.case.seats[worst.number - 1].address
    far = looks.answer[looks.cells_of(address)] - 1.0
    if len(far) < 2 or not np.isfinite(far).all():
        return Sign("alike", UNKNOWN, 0.0, "a node with one cell to compare")
    mean = float(far.mean())
    most_kg = float(looks.most_kg[looks.cells_of(address)].min())
    loud = abs(mean) * most_kg > 0.5 * looks.d_kg and np.abs(far - mean).max() < max(
        ALIKE * abs(mean), 0.4 * looks.d_kg / most_kg
    )
    if not loud:
        return Sign("alike", "not", 0.0, "its cells do not err alike")
    word = "less" if mean < 0 else "more"
    return Sign("alike", word, 10.0, f"all cells of node {address} carry {abs(mean):.2%} {word}, alike")


def _sums(looks: Looks) -> list[Sign]:
    limit_kg = SUM_D * looks.d_kg * max(1.0, len(looks.case.seats) / 8.0)
    stands = looks.stands
    errors = (looks.added_kg - stands.due_kg).sum(axis=1)
    loads = stands.due_kg.sum(axis=1)
    loaded = np.isfinite(errors) & ~stands.empty
    zeros = stands.mean_kg.sum(axis=1)[stands.empty]
    zeros = zeros[np.isfinite(zeros)]
    made = []
    if loaded.any():
        largest = int(np.argmax(np.where(loaded, loads, -np.inf)))
        off_kg, load_kg = float(errors[largest]), float(loads[largest])
        word = "right" if abs(off_kg) <= limit_kg else "more" if off_kg > 0 else "less"
        text = f"{load_kg:.0f} kg read {_signed(off_kg)} off in sum"
        made.append(Sign("sum", word, abs(off_kg) / limit_kg, text))
    else:
        made.append(Sign("sum", UNKNOWN, 0.0, "no known load while all cells could be read"))
    if len(zeros):
        first, went = float(zeros[0]), float(zeros[-1] - zeros[0])
        word = "right" if abs(first) <= limit_kg else "high" if first > 0 else "low"
        made.append(Sign("zero sum", word, abs(first) / limit_kg, f"the empty deck reads {_signed(first)}"))
        word = "comes back" if abs(went) <= limit_kg else "moves up" if went > 0 else "moves down"
        made.append(Sign("sum returns", word, abs(went) / limit_kg, f"and {_signed(went)} more at the end"))
    else:
        made += [
            Sign(n, UNKNOWN, 0.0, "never empty with all cells read") for n in ("zero sum", "sum returns")
        ]
    return made


def _signs_differ(looks: Looks) -> Sign:
    """Cells off to both sides, so that their sum is nearly right: load went from one to the other."""
    stands = looks.stands
    off = (stands.mean_kg - stands.due_kg)[np.isfinite(stands.mean_kg - stands.due_kg).all(axis=1)]
    if not len(off) or off.shape[1] < 2:
        return Sign("signs differ", UNKNOWN, 0.0, "one cell, or never all of them")
    row = off[0]
    apart_kg, sum_kg = float(np.abs(row).sum()), float(abs(row.sum()))
    loud = apart_kg > 2.0 * looks.d_kg and sum_kg < 0.1 * apart_kg
    text = f"cells are {apart_kg:.3g} kg off, some up, some down, and {sum_kg:.2g} kg in sum"
    return Sign("signs differ", "yes" if loud else "no", 10.0 if loud else 0.0, text)
