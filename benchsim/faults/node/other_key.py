"""A node with the pairing key of another site."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault


@fault(
    seen="the node answers each seek, yet the host says wrong key and does not pair with it",
    cause="a node that was exchanged and not set up, or a key that was changed at one end only",
    confirm="set the key anew at both ends from the site's record; then pair once more",
    caution="the key belongs in the record of the site, never on the box or in a message",
)
@dataclass(frozen=True, slots=True)
class OtherKey:
    """The node starts anew with a pairing key that is not the host's.

    Source: common practice, no source.
    """

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        other = bytes(octet ^ 0xA5 for octet in part.card.key)
        return replace(part, card=replace(part.card, key=other))
