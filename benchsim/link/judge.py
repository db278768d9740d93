"""What a host makes of the answers to a seek: whom it can pair with, or why it cannot, in words.

Here stands every reason that is found before a proof is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from benchsim.link.codec import Frame
from benchsim.link.frames import Offer, Refuse, RefuseReason
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


def judge(
    expected: Expected,
    versions: tuple[int, int],
    offers: Mapping[int, Frame],
    refusals: Mapping[int, Refuse],
) -> Verdict | None:
    """What one window brought, by serial number; None: nothing from a node of this network."""
    near = {s: r for s, r in refusals.items() if r.reason != RefuseReason.WRONG_NETWORK}
    serials = sorted(offers.keys() | near.keys())
    if len(serials) > 1:
        return Verdict(None, Reason.TWO_NODES, names(serials))
    for frame in offers.values():
        return _fits(frame, expected, versions)
    for refuse in near.values():
        return Verdict(None, REFUSED[RefuseReason(refuse.reason)], why(refuse))
    return None


def _fits(frame: Frame, expected: Expected, versions: tuple[int, int]) -> Verdict:
    offer = frame.message
    assert isinstance(offer, Offer)
    who, sealed = names([offer.serial]), expected.sealed_fingerprint
    if not versions[0] <= offer.version <= versions[1]:
        return Verdict(None, Reason.VERSION, f"{who} offers version {offer.version}")
    if offer.channels < expected.cells:
        detail = f"{who} has {offer.channels} channels for {expected.cells} cells"
        return Verdict(None, Reason.FEW_CHANNELS, detail)
    if sealed is not None and sealed != offer.fingerprint:
        detail = f"{who}: sealed {sealed.hex()}, found {offer.fingerprint.hex()}"
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
