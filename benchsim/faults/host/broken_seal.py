"""A sealed fingerprint that is not that of the node any more."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.link.parts import FINGERPRINT_OCTETS, MAX_ADDRESS


@fault(
    seen="no weight; the host says that the calibration fingerprint of one node has changed",
    cause="a node exchanged or set anew without sealing, or settings of the host put back from an old copy",
    confirm="compare the fingerprint on the seal's record with the one that the host says it found",
    caution="never clear it without whoever may seal: weights since the last good record are in doubt",
)
@dataclass(frozen=True, slots=True)
class BrokenSeal:
    """The host has another fingerprint sealed at one address, and will not pair with what is there.

    Source: common practice, no source.
    """

    address: int = parameter(1, None, "of which node", low=1, high=MAX_ADDRESS)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        other = b"\xff" * FINGERPRINT_OCTETS
        expected = tuple(
            replace(e, sealed_fingerprint=other) if e.address == self.address else e
            for e in part.card.expected
        )
        return replace(part, card=replace(part.card, expected=expected))
