"""The choice of a version, tried with an experimental number 2 laid out as version 1, and with forgers."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from benchsim.ground.randomness import Dice
from benchsim.link import codec
from benchsim.link.codec import Frame
from benchsim.link.frames import Echo, Kind, Offer, Seek
from benchsim.link.impairment import Passage
from benchsim.link.session import Session
from tests.link.meddling import SECOND, Change, heal, kind_of, paired, silent
from tests.link.site import Site, Stack, node_card, site

VERSION_LOW, VERSION_HIGH = 14 + 8, 14 + 9  # of a seek: behind host_id
OFFERED = 14 + 8  # of an offer: behind serial


def _pair(
    host: tuple[int, int], node: tuple[int, int], up: Stack = (), down: Stack = (), for_us: int = 3 * SECOND
) -> Site:
    place = site(versions=host)
    place.add(node_card(1, versions=node), up, down)
    return paired(place, for_us)


def _versions(place: Site, *kinds: Kind) -> set[int]:
    return {frame[0] for _, _, frame in place.wire if not kinds or kind_of(frame) in kinds}


ALL = [(low, high) for low in range(1, 4) for high in range(low, 4)]


@pytest.mark.parametrize("host", ALL, ids=str)
@pytest.mark.parametrize("node", ALL, ids=str)
def test_two_ends_speak_the_highest_version_of_both_or_none(
    host: tuple[int, int], node: tuple[int, int]
) -> None:
    """Every pair of ranges within 1 to 3; the highest common number is the oracle."""
    place = _pair(host, node)
    common = set(range(host[0], host[1] + 1)) & set(range(node[0], node[1] + 1))
    if common:
        assert place.step() == "flow"
        tagged = (Kind.DATA, Kind.BEAT, Kind.ECHO)
        assert _versions(place, Kind.OFFER, Kind.PROVE, Kind.ACCEPT, *tagged) == {max(common)}
        assert _versions(place, Kind.SEEK) == {host[0]}
    else:
        assert (place.step(), place.reason()) == ("failed", "unknown version")
        assert f"speaks versions {node[0]} to {node[1]}" in place.detail()
        assert place.places[0].end.bound_host is None


def test_two_ends_of_version_2_flow_resume_and_let_go() -> None:
    place = _pair((1, 2), (1, 2))
    silent(place)
    place.run(6 * SECOND)
    heal(place)
    place.run(9 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow", "lost", "flow"]
    place.hub.release(1, place.queue.now_us)
    place.run(10 * SECOND)
    assert place.step() == "released"
    assert _versions(place) - _versions(place, Kind.SEEK) == {2}


def test_a_flow_of_version_2_takes_no_frame_of_version_1() -> None:
    place = _pair((1, 2), (1, 2))
    watch, end = place.hub.seats[1].watch, place.places[0].end
    assert watch is not None
    assert end.session is not None
    lower = Session(end.session.number, 1, 7, 1, 1, end.session.secret)
    lower.sequence = 1000
    before = watch.heard_us
    assert list(place.hub.receive(lower.control_frame(Echo(0, 0, 0)), place.queue.now_us + 5)) == []
    assert watch.heard_us == before


# -- who forges the choice -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Downgrade:
    """Makes every seek one of a host that speaks nothing above version 1, its CRC right."""

    def start(self, dice: Dice) -> Passage:
        return Change(Kind.SEEK, VERSION_HIGH, b"\x01").start(dice)


OFFERS_1 = (Change(Kind.OFFER, OFFERED, b"\x01"), Change(Kind.OFFER, 0, b"\x01"))
FORGED_DOWN: dict[str, tuple[Stack, Stack]] = {
    "the seek names version 1 alone": ((), (Downgrade(),)),
    "the offer names version 1": ((Change(Kind.OFFER, OFFERED, b"\x01"),), ()),
    "the offer names it, in its header too": (
        OFFERS_1, ()
    ),
    "both are changed alike": (
        OFFERS_1, (Downgrade(),)
    ),
    "offer, prove and accept say so in their headers": (
        (*OFFERS_1, Change(Kind.ACCEPT, 0, b"\x01")),
        (Change(Kind.PROVE, 0, b"\x02"),),
    ),
}  # fmt: skip


@pytest.mark.parametrize("how", FORGED_DOWN)
def test_nobody_can_slip_in_a_lower_version(how: str) -> None:
    """The proofs cover seek and offer as each end knows them: it fails, or goes on at version 2; never 1."""
    up, down = FORGED_DOWN[how]
    place = _pair((1, 2), (1, 2), up, down, 8 * SECOND)
    assert place.step() == "failed"
    assert place.samples == []
    assert place.places[0].end.bound_host is None
    assert not _versions(place, Kind.DATA, Kind.ECHO)
    place.places[0].up.change(())
    place.places[0].down.change(())
    place.hub.pair(1, place.queue.now_us)
    place.run(place.queue.now_us + 3 * SECOND)
    assert _versions(place, Kind.DATA) == {2}


def test_a_downgraded_seek_is_told_as_a_wrong_key() -> None:
    """What was said differs from what was heard, as with another key: the reason that a person can act on."""
    place = _pair((1, 2), (1, 2), (), (Downgrade(),), 6 * SECOND)
    seek = next(codec.read(f) for _, _, f in place.wire if kind_of(f) is Kind.SEEK)
    assert isinstance(seek, Frame)
    assert isinstance(seek.message, Seek)
    assert seek.message.version_high == 2
    offer = next(codec.read(f) for _, _, f in place.wire if kind_of(f) is Kind.OFFER)
    assert isinstance(offer, Frame)
    assert isinstance(offer.message, Offer)
    assert offer.message.version == 1
    assert place.reason() == "wrong key"


@pytest.mark.parametrize("version", [1, 3, 255])
def test_an_offer_of_a_version_that_its_header_does_not_have_is_no_answer(version: int) -> None:
    place = _pair((1, 3), (2, 2), (Change(Kind.OFFER, OFFERED, bytes([version])),))
    assert (place.step(), place.reason()) == ("failed", "nobody there")
    assert place.hub.seats[1].counters.refused > 0


def test_an_offer_of_a_version_that_was_not_asked_for_is_told() -> None:
    both = (Change(Kind.OFFER, OFFERED, b"\x05"), Change(Kind.OFFER, 0, b"\x05"))
    place = _pair((1, 2), (1, 2), both)
    assert (place.step(), place.reason()) == ("failed", "unknown version")
    assert "offers version 5" in place.detail()
