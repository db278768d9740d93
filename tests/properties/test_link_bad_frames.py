"""Whatever octets arrive, neither end raises, and nothing that is not authentic moves anything."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.library import shipped
from benchsim.ground.randomness import Dice
from benchsim.link import codec, data
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind, Refuse
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from benchsim.link.session import Session
from tests.link.meddling import heal, kind_of, silent
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


@st.composite
def forgeries(draw: st.DrawFn) -> tuple[int, bytes]:
    """When, and any message at all in any header; the forger may know version, network, address, session."""
    _, _, frame = draw(sealed())
    body = bytearray(frame[:-4])
    if draw(st.booleans()):
        body[0], body[2:4], body[4] = 1, (7).to_bytes(2, "little"), 1
    if draw(st.booleans()):
        body[6:10] = NUMBER.to_bytes(4, "little")
    return draw(st.integers(0, 2_500_000)), codec.seal(bytes(body))


def _flow() -> Site:
    return flowing((1,))


def _outage() -> Site:
    site = flowing((1,))
    silent(site)
    site.run(3_500_000)
    assert site.step() == "lost"
    return site


def _goes_on(site: Site, forged: list[tuple[int, bytes]]) -> tuple[object, ...]:
    """Three seconds more with these frames in between; a link that was gone heals after one."""
    start_us = site.queue.now_us
    for after_us, frame in forged:
        site.queue.put(start_us + after_us, partial(_overheard, site, frame))
    site.run(start_us + 1_000_000)
    heal(site)
    site.run(start_us + 3_000_000)
    end = site.places[0].end
    samples = [(s.arrived_us, s.first, s.rows, s.octets, s.status) for s in site.samples]
    return samples, site.states, site.clocks, end.step, end.bound_host


def _overheard(site: Site, frame: bytes, now_us: int) -> None:
    assert _hear(site, frame) == []


def _ends_the_silence(frame: bytes) -> bool:
    """A forged "no session" makes a host that has lost its node pair anew: the one thing it can do."""
    heard = codec.read(frame)
    return isinstance(heard, Frame) and isinstance(heard.message, Refuse) and heard.message.reason == 6


UNDISTURBED = {begin: _goes_on(begin(), []) for begin in (_flow, _outage)}


@pytest.mark.parametrize("begin", UNDISTURBED, ids=["flow", "lost"])
@given(forged=st.lists(forgeries(), min_size=1, max_size=12))
@settings(max_examples=150, deadline=None)
def test_no_frame_of_a_forger_changes_what_a_host_has(
    begin: Callable[[], Site], forged: list[tuple[int, bytes]]
) -> None:
    """Beside a twin that hears no forger: the same samples at the same times, the same steps and clocks."""
    site = begin()
    if site.step() == "lost":
        forged = [(t, f) for t, f in forged if not _ends_the_silence(f)]
    assert _goes_on(site, forged) == UNDISTURBED[begin]


@given(st.binary(max_size=1400), st.booleans())
@settings(deadline=None)
def test_any_octets_at_all_are_heard_without_harm(octets: bytes, with_crc: bool) -> None:
    assert _hear(FLOWING, codec.seal(octets) if with_crc else octets) == []
