"""What a host makes of the answers to a seek: whom it can pair with, or why it cannot, in words.

Here stands every reason that is found before a proof is asked for, and what a poor link looks like then.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from benchsim.ground.readings import CHANNELS_PER_NODE, addresses_needed
from benchsim.link.codec import Frame
from benchsim.link.frames import Offer, Refuse, RefuseReason
from benchsim.link.limits import SERIALS_KEPT
from benchsim.link.parts import Expected, HostCard
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
    rate_hz: int


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
    rate_hz, meant = expected.rate_hz, "expected"
    if sealed is None and known is not None:
        sealed, held = known.fingerprint, "flowed with"
    if rate_hz is None and known is not None:
        rate_hz, meant = known.rate_hz, "flowed with"
    if not versions[0] <= offer.version <= versions[1]:
        return Verdict(None, Reason.VERSION, f"{who} offers version {offer.version}")
    if offer.channels < expected.cells:
        detail = f"{who} has {offer.channels} channels for {expected.cells} cells"
        return Verdict(None, Reason.FEW_CHANNELS, detail)
    if rate_hz is not None and rate_hz != offer.rate_hz:
        return Verdict(None, Reason.RATE, f"{who}: {meant} {rate_hz} Hz, found {offer.rate_hz} Hz")
    if sealed is not None and sealed != offer.fingerprint:
        detail = f"{who}: {held} {sealed.hex()}, found {offer.fingerprint.hex()}"
        return Verdict(None, Reason.FINGERPRINT, detail)
    return Verdict(frame, detail=who)


def shortage(card: HostCard, expected: Expected) -> str:
    """Why the addresses set cannot carry the cells of the scale, or this one its own; "" when they can."""
    carried = sum(e.cells for e in card.expected)
    cells = carried if card.scale_cells is None else card.scale_cells
    needed, given = addresses_needed(cells), len(card.expected)
    if given < needed:
        return f"{cells} cells need {needed} addresses, {given} {'is' if given == 1 else 'are'} set"
    if expected.cells > CHANNELS_PER_NODE:
        return f"{expected.cells} cells at one address, which carries {CHANNELS_PER_NODE} at most"
    if carried < cells:
        return f"the addresses set carry {carried} of {cells} cells"
    return ""


@dataclass(slots=True)
class Asked:
    """How a pairing that a person asked for has gone so far, by what was asked and what was heard.

    seeks, proves: frames sent.  windows: ended with an answer.  broken: frames of this address and network
    whose CRC was wrong.  Anybody can forge the last two: they only put another word to a failure.
    """

    seeks: int = 0
    proves: int = 0
    windows: int = 0
    broken: int = 0

    @property
    def poor(self) -> str:
        """What speaks for a poor link when no answer to a prove came; "" when nothing does."""
        if self.broken == 0 and self.windows == self.seeks:
            return ""
        told = f"{self.windows} of {self.seeks + self.proves} questions answered"
        return f"{told}, {self.broken} broken frames heard"


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
