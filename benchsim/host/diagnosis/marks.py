"""What the node itself says of a channel: the status of its frames."""

from __future__ import annotations

import numpy as np

from benchsim.ground.readings import ChannelStatus
from benchsim.host.diagnosis.looks import Looks
from benchsim.host.diagnosis.parts import UNKNOWN, Sign

_STOP, _OPEN, _REFERENCE = ChannelStatus.HIGH | ChannelStatus.LOW, ChannelStatus.OPEN, ChannelStatus.REFERENCE
_SAID = {
    "open": "finds no bridge at its terminals",
    "reference at stop": "finds its reference out of range and reads it at the stop",
    "reference": "finds its reference out of range",
    "stop": "reads it at the stop of its range",
}
WORDS = {"marks": ("good", *_SAID, *(f"{word} at times" for word in _SAID))}
_ALWAYS = 0.95
_LOUD = 1000.0


def signs(looks: Looks, cell: int) -> list[Sign]:
    """Of one cell, by index."""
    seat = looks.case.seats[cell]
    node = looks.hearing.nodes[seat.address]
    if not len(node.t_us) or seat.channel >= node.status.shape[1]:
        return [Sign("marks", UNKNOWN, 0.0, "its node was never heard")]
    notes = looks.case.notes
    begin, end = np.searchsorted(node.t_us, [notes[0].from_us, notes[-1].until_us] if notes else [0, 0])
    status = node.status[begin:end, seat.channel]
    at_stop, reference = (status & _STOP) != 0, (status & _REFERENCE) != 0
    opened = (status & _OPEN) != 0
    said = {
        "open": opened,
        "reference at stop": reference & at_stop,
        "reference": reference & ~at_stop,
        "stop": at_stop & ~reference & ~opened,
    }
    shares = {word: float(where.mean()) for word, where in said.items()} if len(status) else {}
    loudest = max(shares, key=lambda word: shares[word], default="")
    if not loudest or not shares[loudest]:
        return [Sign("marks", "good", 0.0, "its node finds nothing wrong with it")]
    word = loudest if shares[loudest] > _ALWAYS else f"{loudest} at times"
    text = f"its node {_SAID[loudest]} in {shares[loudest]:.0%} of the samples"
    return [Sign("marks", word, _LOUD, text)]
