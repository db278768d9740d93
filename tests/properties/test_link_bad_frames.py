"""Whatever octets arrive, neither end raises, and nothing that is not authentic moves anything."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.library import shipped
from benchsim.ground.randomness import Dice
from benchsim.link import codec, data
from benchsim.link.frames import Header, Kind
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from benchsim.link.session import Session
from tests.link.meddling import kind_of
from tests.link.samples import sealed
from tests.link.site import Site, flowing, host_card, node_card
from tests.link.stories import host_in

VECTORS: dict[str, Any] = json.loads(
    (shipped("protocols") / "nodelink" / "vectors.json").read_text(encoding="utf-8")
)


def _hear(site: Site, frame: bytes) -> list[object]:
    """Both ends hear a frame; what the host is told of it."""
    told = site.hub.receive(frame, site.queue.now_us)
    for place in site.places:
        place.end.receive(frame, site.queue.now_us)
    return list(told)


def _stand(site: Site) -> tuple[object, ...]:
    """All that a bad frame may not move."""
    watches = [s.watch for s in site.hub.seats.values()]
    return (
        site.hub.states,
        [(w.session.number, w.session.epoch, w.gaps.next, w.heard_us) for w in watches if w],
        [(p.end.step, p.end.bound_host, p.end.session and p.end.session.epoch) for p in site.places],
        [p.end.wake_us for p in site.places],
    )


@pytest.mark.parametrize("bad", VECTORS["bad"], ids=lambda b: b["why"])
def test_the_bad_frames_of_the_specification_are_dropped(bad: dict[str, str]) -> None:
    """Ends of the vectors' own network and address: only the fault itself can be why."""
    assert bad["reaction"] == "dropped"
    frame = bytes.fromhex(bad["frame"])
    hub = Hub(host_card((3,), host_id=0x0011223344556677), Dice(1))
    hub.pair(3, 0)
    hub.due(0)
    node = NodeEnd(node_card(3), Dice(2), lambda t_us: t_us)
    states = hub.states
    assert list(hub.receive(frame, 10)) == []
    node.receive(frame, 10)
    assert hub.states == states
    assert node.due(10_000_000) == ([], None)
    assert node.bound_host is None


def test_the_bad_tags_of_the_specification_are_found_by_the_session_they_are_for() -> None:
    secret = bytes.fromhex(VECTORS["keys"]["session_secret"])
    good = bytes.fromhex(next(t["frame"] for t in VECTORS["flow"] if t["name"] == "data"))
    number = int.from_bytes(good[6:10], "little")
    found = {
        b["why"]: data.take(Session(number, 1, 7, 3, 0, secret), bytes.fromhex(b["frame"]))
        for b in VECTORS["bad"]
        if b["why"].startswith(("tag", "length: rows", "range: channels"))
    }
    assert set(found.values()) == {
        "its tag is wrong", "not of this session", "its length does not fit", "out of range"
    }  # fmt: skip
    assert not isinstance(data.take(Session(number, 1, 7, 3, 0, secret), good), str)


@pytest.mark.parametrize("step", ["seek", "prove", "flow", "lost"])
def test_frames_cut_or_with_any_bit_inverted_move_nothing(step: str) -> None:
    site = host_in(step)
    heard = {kind_of(f): f for _, _, f in flowing((1,)).wire + site.wire}
    assert len(heard) >= 7
    before = _stand(site)
    for frame in heard.values():
        for cut in range(len(frame)):
            assert _hear(site, frame[:cut]) == []
        for bit in range(8 * len(frame)):
            wrong = bytearray(frame)
            wrong[bit >> 3] ^= 1 << (bit & 7)
            assert _hear(site, bytes(wrong)) == []
    assert _stand(site) == before


FLOWING = flowing((1,))
NUMBER = next(int.from_bytes(f[6:10], "little") for _, _, f in FLOWING.wire if kind_of(f) is Kind.DATA)


@given(sealed(), st.booleans(), st.booleans())
@settings(max_examples=400, deadline=None)
def test_no_frame_of_a_forger_moves_a_flow(
    made: tuple[Header, Any, bytes], knows_session: bool, knows_place: bool
) -> None:
    """Any message at all in any header; the forger may know version, network, address and session."""
    _, _, frame = made
    body = bytearray(frame[:-4])
    if knows_place:
        body[0], body[2:4], body[4] = 1, (7).to_bytes(2, "little"), 1
    if knows_session:
        body[6:10] = NUMBER.to_bytes(4, "little")
    hub_before = (FLOWING.hub.states, FLOWING.hub.seats[1].watch)
    end = FLOWING.places[0].end
    session = end.session
    assert _hear(FLOWING, codec.seal(bytes(body))) == []
    assert (FLOWING.hub.states, FLOWING.hub.seats[1].watch) == hub_before
    assert (end.step, end.bound_host, end.session) == ("flow", FLOWING.hub.card.host_id, session)
    assert session is not None
    assert session.epoch == 0


@given(st.binary(max_size=1400), st.booleans())
@settings(deadline=None)
def test_any_octets_at_all_are_heard_without_harm(octets: bytes, with_crc: bool) -> None:
    assert _hear(FLOWING, codec.seal(octets) if with_crc else octets) == []
