"""What a node finds when it tests its own channels, in words for a technician.

It looks for a bridge behind the terminals, for a reference, for shorts by a small test current, and whether
what the bridge gives without load lies in its range.  Common practice, no source.
"""

from __future__ import annotations

from benchsim.ground.readings import ChannelStatus
from benchsim.scale.bridge import channel, terminals_ohm
from benchsim.scale.parts import Cell, Digitiser, ScaleParts, Wiring

GOOD, OPEN, SHORT, RANGE, NO_EXCITATION = "good", "open", "short", "out of range", "no excitation"

# No bridge of the trade has less between two of its terminals.  Our own choice.
LEAST_BRIDGE_OHM = 50.0


def self_tests(parts: ScaleParts, station: int) -> tuple[str, ...]:
    """One word a channel of this station, in channel order."""
    card = parts.stations[station]
    return tuple(
        OPEN if number in card.digitiser.missing else tested(parts.cells[c], parts.wiring[c], card.digitiser)
        for number, c in enumerate(card.cells)
    )


def tested(cell: Cell, wiring: Wiring, digitiser: Digitiser) -> str:
    """What one channel's test finds."""
    if wiring.shorts and _shorted(cell, wiring):
        return SHORT
    line = channel(cell, wiring, digitiser.common_mode_error)
    if line.status & ChannelStatus.REFERENCE:
        return NO_EXCITATION
    if line.status & ChannelStatus.OPEN:
        return OPEN
    idle = line.offset_mv_per_v + line.gain * cell.zero_balance_mv_per_v
    return RANGE if abs(idle) > digitiser.full_scale_mv_per_v else GOOD


def _shorted(cell: Cell, wiring: Wiring) -> bool:
    return any(
        terminals_ohm(cell, wiring, one, other) < LEAST_BRIDGE_OHM
        for one, other in (("EXC+", "EXC-"), ("SIG+", "SIG-"))
    )
