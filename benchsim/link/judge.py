"""What a host makes of the answers to a seek: whom it can pair with, or why it cannot, in words.

Here stands every reason that is found before a proof is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from benchsim.link.codec import Frame
from benchsim.link.frames import Offer, Refuse, RefuseReason
from benchsim.link.limits import SERIALS_KEPT
from benchsim.link.parts import Expected
from benchsim.link.steps import Reason

REFUSED = {
    RefuseReason.WRONG_NETWORK: Reason.WRONG_NETWORK,
    RefuseReason.BOUND: Reason.BOUND,
    RefuseReason.VERSION: Reason.VERSION,
    RefuseReason.WRONG_KEY: Reason.WRONG_KEY,
    RefuseReason.TWO_NODES: Reason.TWO_NODES,
    RefuseReason.NO_SESSION: Reason.NO_SESSION,
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """frame: the offer to take up, or None and why not."""

    frame: Frame | None
    reason: Reason = Reason.NONE
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """The node that flowed at an address: the host pairs anew by itself with this one and no other."""

    serial: int
    fingerprint: bytes


@dataclass(slots=True)
class Heard:
    """What answered a seek, by serial number.  Anybody can forge it, so no more than SERIALS_KEPT of each."""

    offers: dict[int, Frame] = field(default_factory=dict)
    near: dict[int, Refuse] = field(default_factory=dict)
    far: dict[int, Refuse] = field(default_factory=dict)

    def offer(self, serial: int, frame: Frame) -> None:
        """An offer; the first of a node counts."""
        if len(self.offers) < SERIALS_KEPT:
            self.offers.setdefault(serial, frame)

    def refuse(self, refuse: Refuse) -> None:
        """A refusal: near when it is of the host's own network."""
        kept = self.far if refuse.reason == RefuseReason.WRONG_NETWORK else self.near
        if len(kept) < SERIALS_KEPT:
            kept.setdefault(refuse.serial, refuse)

    @property
    def elsewhere(self) -> str:
        """Who is there, but set to another network; "" when nobody is."""
        return "; ".join(map(why, self.far.values()))

    def verdict(self, expected: Expected, versions: tuple[int, int], known: Known | None) -> Verdict | None:
        """What one window brought; None: nothing from a node of this network.

        known: who flowed here, when nobody asked to pair since.
        """
        serials = sorted(self.offers.keys() | self.near.keys())
        if len(serials) > 1:
            return Verdict(None, Reason.TWO_NODES, names(serials))
        if serials and known is not None and serials[0] != known.serial:
            detail = f"{names([known.serial])} flowed, {names(serials)} answers"
            return Verdict(None, Reason.ANOTHER_NODE, detail)
        for frame in self.offers.values():
            return _fits(frame, expected, versions, known)
        for refuse in self.near.values():
            return Verdict(None, REFUSED[RefuseReason(refuse.reason)], why(refuse))
        return None


def _fits(frame: Frame, expected: Expected, versions: tuple[int, int], known: Known | None) -> Verdict:
    offer = frame.message
    assert isinstance(offer, Offer)
    who, sealed, held = names([offer.serial]), expected.sealed_fingerprint, "sealed"
    if sealed is None and known is not None:
        sealed, held = known.fingerprint, "flowed with"
    if not versions[0] <= offer.version <= versions[1]:
        return Verdict(None, Reason.VERSION, f"{who} offers version {offer.version}")
    if offer.channels < expected.cells:
        detail = f"{who} has {offer.channels} channels for {expected.cells} cells"
        return Verdict(None, Reason.FEW_CHANNELS, detail)
    if sealed is not None and sealed != offer.fingerprint:
        detail = f"{who}: {held} {sealed.hex()}, found {offer.fingerprint.hex()}"
        return Verdict(None, Reason.FINGERPRINT, detail)
    return Verdict(frame, detail=who)


def names(serials: Iterable[int]) -> str:
    """Serial numbers for people: 16 hexadecimal digits each."""
    listed = [f"{s:016X}" for s in serials]
    return ("serial " if len(listed) == 1 else "serials ") + ", ".join(listed)


def why(refuse: Refuse) -> str:
    """A refusal in words."""
    who = names([refuse.serial])
    match refuse.reason:
        case RefuseReason.WRONG_NETWORK:
            return f"{who} is set to network {refuse.network}"
        case RefuseReason.VERSION:
            return f"{who} speaks versions {refuse.version_low} to {refuse.version_high}"
    return who
