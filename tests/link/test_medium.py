"""Many nodes, several scales and several hosts on one rough medium: they keep apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pytest

from benchsim.ground.randomness import Dice, Streams
from benchsim.ground.readings import Samples
from benchsim.link.frames import Kind
from benchsim.link.hub import Hub
from benchsim.link.impairment import Passage
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.replay import Replay
from benchsim.link.parts import LinkSettings
from tests.link.meddling import OTHER_HOST, SECOND, Drop, kind_of, paired
from tests.link.site import KEY, Clock, Site, Stack, count_of, host_card, node_card, site

OTHER_KEY = bytes(range(16, 32))
ROUGH: Stack = (
    Loss(0.05), BitErrors(2e-5), Duplicate(0.1, 700), Replay(0.1), Delay(2_000, 9_000, overtaking=True)
)  # fmt: skip


@dataclass(frozen=True)
class Air:
    """One channel for all that share this object: who begins while another sends is not heard."""

    rate: Rate
    said: list[tuple[int, bytes, int]] = field(default_factory=lambda: [(0, b"", 0)], compare=False)
    lost: list[bytes] = field(default_factory=list, compare=False)

    @property
    def spoilt(self) -> int:
        return len(self.lost)

    def start(self, dice: Dice) -> Passage:
        return _Sending(self)


@dataclass
class _Sending:
    air: Air

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        began_us, sent, free_us = self.air.said[-1]
        if (began_us, sent) != (t_us, frame):  # what is for everyone is sent once
            if t_us < free_us:
                self.air.lost.append(frame)
                return []
            free_us = t_us + self.air.rate.air_us(len(frame))
            self.air.said.append((t_us, frame, free_us))
        return [(free_us, frame)]


@dataclass(frozen=True)
class Line:
    """One line for all that share this object: frames wait for one another."""

    rate: Rate
    passage: list[Passage] = field(default_factory=list, compare=False)

    def start(self, dice: Dice) -> Passage:
        if not self.passage:
            self.passage.append(self.rate.start(dice))
        return self.passage[0]


def _right(samples: Iterable[Samples], serials: dict[int, int]) -> None:
    """Every sample as the node of its address read it, and none twice."""
    seen: set[tuple[int, int]] = set()
    for block in samples:
        serial = serials[block.address]
        rows = np.frombuffer(block.octets, "<i4").reshape(block.rows, block.channels).tolist()
        numbers = range(block.first, block.first + block.rows)
        assert rows == [[count_of(serial, n, c) for c in range(block.channels)] for n in numbers]
        assert not seen & {(block.address, n) for n in numbers}
        seen |= {(block.address, n) for n in numbers}


def _another(place: Site, straps: Iterable[int], **card: object) -> Hub:
    """One more host on the same medium."""
    values: dict[str, object] = {"host_id": OTHER_HOST} | card
    hub = Hub(host_card(straps, **values), Streams("another").dice("hub"))  # type: ignore[arg-type]
    place.rivals.append(hub)
    return hub


def _steps(hub: Hub) -> list[str]:
    return [s.step for s in hub.states]


# -- many nodes ----------------------------------------------------------------------------------------


def test_sixteen_nodes_pair_at_once_on_one_line_that_loses_frames() -> None:
    """16 flows of k = 16: 5 x 323 octets of 10 bits a second each, 0.28 of a line of 921.6 kbit/s."""
    straps = range(1, 17)
    up, down = (Line(Rate(921_600, bits_per_octet=10, queue=64)) for _ in "ud")
    place = site(straps, settings=LinkSettings(samples_per_frame=16))
    for strap in straps:
        place.add(node_card(strap), (up, Loss(0.03)), (down, Loss(0.03)))
    paired(place, 8 * SECOND)
    assert _steps(place.hub) == ["flow"] * 16
    _right(place.samples, {s: 0x1000 + s for s in straps})
    assert all(len(place.numbers(s)) > 540 for s in straps)


@pytest.mark.parametrize("seed", range(4))
def test_nodes_that_talk_over_each_other_pair_and_flow_with_clocks_apart(seed: int) -> None:
    """Nobody listens before sending; the grids of four nodes drift against each other at up to 200 ppm."""
    air = Air(Rate(250_000, overhead_octets=17))
    place = site((1, 2, 3, 4))
    place.streams = Streams(f"air {seed}")
    for strap, ppm in zip((1, 2, 3, 4), (-100, -30, 60, 100), strict=True):
        place.add(node_card(strap), (air,), (air,), Clock(ppm, (19_000 + 2_000 * seed) * strap))
    paired(place, 30 * SECOND)
    assert air.spoilt >= 5
    assert _steps(place.hub) == ["flow"] * 4
    _right(place.samples, {s: 0x1000 + s for s in (1, 2, 3, 4)})
    for reading in place.clocks:
        clock = place.places[reading.address - 1].clock
        off_us = reading.node_t_us - clock.shows_us(reading.host_t_us)
        assert abs(off_us) <= reading.round_trip_us / 2 + 2


def test_an_address_that_fails_does_not_hold_up_the_others() -> None:
    place = site((1, 2, 3, 4))
    for strap, other in ((1, {}), (2, {"key": OTHER_KEY}), (4, {"channels": 1})):
        place.add(node_card(strap, **other), ROUGH, ROUGH)
    paired(place, 8 * SECOND)
    assert _steps(place.hub) == ["flow", "failed", "failed", "failed"]
    assert [s.reason for s in place.hub.states][1:] == [
        "wrong key", "nobody there", "fewer channels than cells"
    ]  # fmt: skip
    assert min(t for t, s in place.states if (s.address, s.step) == (1, "flow")) < 2 * SECOND


# -- several scales, several hosts ---------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_two_scales_of_one_host_share_a_medium_and_nothing_else(seed: int) -> None:
    """One host number, key and network; each scale has its own addresses and knows of no other."""
    place = site((1, 2))
    place.streams = Streams(f"scales {seed}")
    other = _another(place, (3, 4), host_id=0xA0)
    for strap in (1, 2, 3, 4):
        place.add(node_card(strap), ROUGH, ROUGH)
    other.pair(0, 0)
    paired(place, 6 * SECOND)
    assert (_steps(place.hub), _steps(other)) == (["flow"] * 2, ["flow"] * 2)
    place.hub.release(1, place.queue.now_us)
    place.places[3].end.restart(place.queue.now_us)
    place.run(12 * SECOND)
    assert (_steps(place.hub), _steps(other)) == (["released", "flow"], ["flow"] * 2)
    _right(place.samples, {1: 0x1001, 2: 0x1002})
    theirs = [s for _, s in place.theirs]
    assert {s.address for s in theirs} == {3, 4}
    _right([s for s in theirs if s.address == 3], {3: 0x1003})


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("network", "key"), [(8, KEY), (8, OTHER_KEY)], ids=["another network", "another network and key"]
)
def test_hosts_of_two_networks_seek_the_same_addresses_and_each_gets_its_own(
    network: int, key: bytes, seed: int
) -> None:
    place = site((1, 2))
    place.streams = Streams(f"networks {seed}")
    other = _another(place, (1, 2), network=network, key=key)
    for strap in (1, 2):
        place.add(node_card(strap), ROUGH, ROUGH)
        place.add(node_card(strap, serial=0x2000 + strap, network=network, key=key), ROUGH, ROUGH)
    other.pair(0, 0)
    paired(place, 10 * SECOND)
    assert (_steps(place.hub), _steps(other)) == (["flow"] * 2, ["flow"] * 2)
    _right(place.samples, {1: 0x1001, 2: 0x1002})
    _right([s for _, s in place.theirs], {1: 0x2001, 2: 0x2002})
    assert [p.end.bound_host for p in place.places] == [0xA0, OTHER_HOST] * 2


@pytest.mark.parametrize("seed", range(3))
def test_hosts_of_two_keys_on_one_network_number_each_get_the_nodes_of_their_key(seed: int) -> None:
    place = site((1, 2))
    place.streams = Streams(f"keys {seed}")
    other = _another(place, (3, 4), key=OTHER_KEY)
    for strap in (1, 2, 3, 4):
        place.add(node_card(strap, key=KEY if strap < 3 else OTHER_KEY), ROUGH, ROUGH)
    other.pair(0, 0)
    paired(place, 6 * SECOND)
    assert (_steps(place.hub), _steps(other)) == (["flow"] * 2, ["flow"] * 2)
    _right(place.samples, {1: 0x1001, 2: 0x1002})
    _right([s for _, s in place.theirs], {3: 0x1003, 4: 0x1004})


def test_hosts_of_two_keys_on_one_network_number_and_address_name_both_nodes() -> None:
    place = site()
    other = _another(place, (1,), key=OTHER_KEY)
    place.add(node_card(1))
    place.add(node_card(1, serial=0x2001, key=OTHER_KEY))
    paired(place)
    assert (place.reason(), place.detail()) == (
        "two nodes on one address", "serials 0000000000001001, 0000000000002001, at step seek"
    )  # fmt: skip
    other.pair(0, place.queue.now_us)
    place.run(place.queue.now_us + 4 * SECOND)
    assert [s.reason for s in other.states] == ["two nodes on one address"]
    assert (place.samples, place.theirs) == ([], [])
    assert [p.end.bound_host for p in place.places] == [None, None]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("key", [KEY, OTHER_KEY], ids=["one key", "two keys"])
def test_of_two_hosts_that_seek_one_node_at_once_never_both_get_it(key: bytes, seed: int) -> None:
    """Over a rough medium, the second a little later than the first, each asked again until one flows."""
    place = site()
    place.streams = Streams(f"at once {seed}")
    other = _another(place, (1,), key=key)
    node = place.add(node_card(1), ROUGH, ROUGH)
    place.run(10_000)
    for _ in range(4):
        now_us = place.queue.now_us
        if place.step() != "flow":
            place.hub.pair(1, now_us)
        if _steps(other) != ["flow"]:
            place.queue.put(now_us + 7_000 * seed, lambda t_us: other.pair(1, t_us))
        place.run(now_us + 6 * SECOND)
        assert [place.step(), *_steps(other)].count("flow") <= 1
        assert not (place.samples and place.theirs)
    assert [place.step(), *_steps(other)].count("flow") == 1
    if key is OTHER_KEY:
        assert place.step() == "flow"
    winner = place.hub if place.step() == "flow" else other
    assert node.end.bound_host == winner.card.host_id
    _right([*place.samples, *(s for _, s in place.theirs)], {1: 0x1001})


@pytest.mark.parametrize("key", [KEY, OTHER_KEY], ids=["one key", "two keys"])
def test_a_bound_node_stays_with_its_host_whatever_a_second_host_does(key: bytes) -> None:
    place = site()
    node = place.add(node_card(1), ROUGH, ROUGH)
    paired(place, 5 * SECOND)
    other = _another(place, (1,), key=key)
    for _ in range(3):
        other.pair(1, place.queue.now_us)
        place.run(place.queue.now_us + 4 * SECOND)
        assert [s.reason for s in other.states] == ["bound to another host"]
    node.end.restart(place.queue.now_us)
    other.pair(1, place.queue.now_us)
    place.run(place.queue.now_us + 6 * SECOND)
    assert (place.step(), _steps(other), place.theirs) == ("flow", ["failed"], [])
    assert node.end.bound_host == 0xA0


def test_a_node_that_talks_with_one_host_lets_another_wait_until_that_is_too_old() -> None:
    """The first host's words are kept: its prove is still taken after the other host's seek."""
    place = site()
    node = place.add(node_card(1), down=(Drop(Kind.PROVE),))
    place.hub.pair(1, 0)
    place.run(250_000)
    assert (place.step(), node.end.step) == ("prove", "offer")
    other = _another(place, (1,))
    other.pair(1, place.queue.now_us)
    place.run(place.queue.now_us + 700_000)
    offers = [frame for _, _, frame in place.wire if kind_of(frame) is Kind.OFFER]
    assert {frame[6:10] for frame in offers} == {place.wire[0][2][6:10]}
    node.down.change(())
    place.run(place.queue.now_us + 2 * SECOND)
    assert (place.step(), _steps(other)) == ("flow", ["failed"])
