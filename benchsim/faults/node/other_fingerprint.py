"""A node whose calibration was changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault
from benchsim.link.parts import FINGERPRINT_OCTETS


@fault(
    seen="the node is lost for a moment, then the host refuses it: its calibration fingerprint has changed",
    cause="somebody set the node anew, or put another one with the same number in its place",
    confirm="compare the fingerprint that the host found with the one on the seal's record",
    caution="never clear it without whoever may seal: weights since the last good record are in doubt",
)
@dataclass(frozen=True, slots=True)
class OtherFingerprint:
    """The node starts anew and shows another fingerprint of its calibration.

    Source: common practice, no source.
    """

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        other = bytes(octet ^ 0x5A for octet in part.card.fingerprint[:FINGERPRINT_OCTETS])
        return replace(part, card=replace(part.card, fingerprint=other))
