"""Pairing, and each way in which it fails: its own reason, with address, step and what a technician needs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice, Streams
from benchsim.link.frames import Kind
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from benchsim.link.parts import Expected, LinkSettings
from tests.link.meddling import OTHER_HOST, SECOND, kind_of, paired
from tests.link.site import KEY, Site, host_card, node_card, site
from tests.link.stories import STORIES


def _kinds(place: Site) -> list[str]:
    return [kind_of(frame).name.lower() for _, _, frame in place.wire]


def test_a_pairing_is_seek_offer_prove_accept() -> None:
    place = STORIES["pair_asked_from_idle"]()
    assert _kinds(place)[:5] == ["seek", "offer", "prove", "accept", "beat"]
    assert place.step() == "flow"
    assert place.detail() == "serial 0000000000001001"


def test_the_steps_on_the_way_are_told_in_order() -> None:
    place = STORIES["pair_asked_from_idle"]()
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


REASONS = [
    ("nobody_there", "nobody there", "at step seek"),
    ("two_nodes_on_one_address", "two nodes on one address", "0000000000001001, 0000000000002002"),
    ("two_nodes_one_offer_lost", "two nodes on one address", "0000000000001001, 0000000000002002"),
    ("two_nodes_late_offer", "two nodes on one address", "0000000000001001, 0000000000002002"),
    ("wrong_network", "wrong network", "serial 0000000000001001 is set to network 8"),
    ("wrong_key_at_the_node", "wrong key", "serial 0000000000001001"),
    ("wrong_proof_of_the_node", "wrong key", "its proof is wrong"),
    ("worthless_public_value", "wrong key", "worthless public value"),
    ("bound_to_another_host", "bound to another host", "serial 0000000000001001"),
    ("fewer_channels", "fewer channels than cells", "2 channels for 4 cells"),
    ("unknown_version", "unknown version", "speaks versions 1 to 1"),
    ("more_cells_than_addresses", "more cells than addresses", "10 cells need 3 addresses, 2 are set"),
    ("one_address_for_six_cells", "more cells than addresses", "6 cells at one address, which carries 4"),
    ("a_cell_without_an_address", "more cells than addresses", "the addresses set carry 9 of 10 cells"),
    ("another_rate", "another sample rate", "serial 0000000000001001: expected 80 Hz, found 100 Hz"),
    ("link_too_poor", "link too poor", "8 % came at first sending, 3 of 35 frames; 50 % is the least"),
    ("link_too_poor_for_the_proof", "link too poor", "1 of 7 questions answered, 0 broken frames heard"),
    ("proofs_broken", "link too poor", "1 of 6 questions answered, 5 broken frames heard"),
    ("fingerprint_changed", "calibration fingerprint changed", "found 0100000000000000"),
    ("proofs_unanswered", "timed out", "at step prove"),
    ("node_forgets_every_offer", "timed out", "at step prove"),
]


@pytest.mark.parametrize(("story", "reason", "detail"), REASONS, ids=[r[0] for r in REASONS])
def test_each_failure_has_its_reason_and_its_detail(story: str, reason: str, detail: str) -> None:
    place = STORIES[story]()
    assert (place.step(), place.reason()) == ("failed", reason)
    assert detail in place.detail()
    assert place.detail().count("at step ") == 1
    flowed = ("two_nodes_one_offer_lost", "bound_to_another_host", "link_too_poor")
    assert not place.numbers(1) or story in flowed


@pytest.mark.parametrize("story", [r[0] for r in REASONS])
def test_after_each_failure_pairing_succeeds_once_its_cause_is_gone(story: str) -> None:
    place = STORIES[story]()
    place.places = place.places[:1] or [place.add(node_card(1))]
    node = place.places[0]
    node.up.change(())
    node.down.change(())
    card = node_card(1, fingerprint=bytes(8), versions=(1, 3))
    node.end.restart(place.queue.now_us, card)
    place.hub.instruct(
        replace(place.hub.card, scale_cells=None, expected=(Expected(1, 4),)), place.queue.now_us
    )
    if node.end.bound_host not in (None, place.hub.card.host_id):
        node.end.recommission()
    place.hub.pair(1, place.queue.now_us)
    place.run(place.queue.now_us + 3 * SECOND)
    assert (place.step(), place.reason()) == ("flow", "")


def test_a_working_neighbour_of_another_network_keeps_quiet() -> None:
    place = STORIES["neighbour_keeps_quiet"]()
    assert place.step() == "flow"
    assert "refuse" not in _kinds(place)


def test_every_frame_of_a_pairing_may_be_lost_once() -> None:
    place = STORIES["every_pairing_frame_lost_once"]()
    assert place.step() == "flow"
    assert place.numbers() == list(range(place.numbers()[0], place.numbers()[-1] + 1))


def test_the_highest_version_that_both_speak_is_taken() -> None:
    place = STORIES["second_version"]()
    assert place.step() == "flow"
    assert {frame[0] for _, _, frame in place.wire if kind_of(frame) is Kind.DATA} == {2}


def test_a_fingerprint_as_it_was_sealed_pairs() -> None:
    assert STORIES["fingerprint_as_sealed"]().step() == "flow"


def test_sixteen_nodes_pair_at_once() -> None:
    place = site(range(1, 17))
    for strap in range(1, 17):
        place.add(node_card(strap))
    paired(place, SECOND)
    assert place.hub.settled
    assert {s.step for s in place.hub.states} == {"flow"}


def test_two_hosts_of_one_key_and_network_never_share_a_node() -> None:
    first = STORIES["all_well"]()
    second = Hub(host_card((1, 2, 3), host_id=OTHER_HOST), Streams("other").dice("hub"))
    own, first.hub = first.hub, second
    paired(first)
    assert {s.reason for s in second.states} == {"bound to another host"}
    assert {p.end.bound_host for p in first.places} == {own.card.host_id}


def test_a_host_of_another_key_cannot_take_a_node_that_is_free() -> None:
    place = site(key=bytes(16))
    place.add(node_card(1))
    paired(place)
    assert place.reason() == "wrong key"
    assert place.places[0].end.bound_host is None


def test_the_pairing_key_and_the_session_secret_never_show() -> None:
    place = STORIES["every_pairing_frame_lost_once"]()
    watch = place.hub.seats[1].watch
    assert watch is not None
    session = watch.session
    secrets = [KEY, session.secret, session.out.key, session.into.key, session.resume.key]
    wire = b"".join(frame for _, _, frame in place.wire)
    shown = repr(session) + repr(place.hub.card) + repr(place.places[0].end.card)
    for secret in secrets:
        assert secret not in wire
        assert repr(secret) not in shown
        assert secret.hex() not in shown


def test_two_pairings_have_no_key_in_common() -> None:
    place = STORIES["pair_asked_from_flow"]()
    starts = [f for _, _, f in place.wire if kind_of(f) in (Kind.SEEK, Kind.OFFER)]
    assert len({f[-36:-4] for f in starts}) == len(set(starts)) == 4


def test_the_node_keeps_its_host_through_loss_of_power() -> None:
    place = STORIES["node_restarts"]()
    assert place.places[0].end.bound_host == place.hub.card.host_id
    other = STORIES["bound_to_another_host"]()
    other.places[0].end.restart(other.queue.now_us)
    paired(other)
    assert other.reason() == "bound to another host"


def test_a_recommissioned_node_pairs_with_the_next_host() -> None:
    place = STORIES["bound_to_another_host"]()
    place.places[0].end.recommission()
    paired(place)
    assert place.step() == "flow"
    assert place.places[0].end.bound_host == OTHER_HOST


def test_k_is_the_smaller_of_what_both_want() -> None:
    place = site(settings=LinkSettings(samples_per_frame=16))
    place.add(node_card(1, most_samples_per_frame=5))
    paired(place)
    assert place.places[0].end.samples_per_frame == 5
    assert {s.rows for s in place.samples} == {5}
    assert all(s.first % 5 == 0 for s in place.samples)


@pytest.mark.parametrize(
    "wrong",
    [
        {"strap": 0}, {"strap": 17}, {"network": 1 << 16}, {"key": b"short"}, {"channels": 5},
        {"channels": 0},
        {"serial": -1}, {"serial": 1 << 64}, {"rate_hz": 0}, {"fingerprint": b""}, {"versions": (2, 1)},
        {"versions": (0, 1)}, {"buffer_samples": 1 << 16}, {"most_samples_per_frame": 0},
    ],
)  # fmt: skip
def test_a_node_that_cannot_be_is_refused_in_words(wrong: dict[str, object]) -> None:
    others = dict(wrong)
    strap = others.pop("strap", 1)
    with pytest.raises(BadInput, match=r"; .+"):
        NodeEnd(node_card(strap, **others), Dice(1), lambda t_us: t_us)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "wrong",
    [
        {"key": b"short"}, {"network": -1}, {"versions": (3, 2)}, {"host_id": 1 << 64},
        {"expected": (Expected(1, 4), Expected(1, 2))}, {"expected": (Expected(17, 4),)},
        {"expected": (Expected(1, 65),)}, {"expected": (Expected(1, 4, None, 0),)}, {"scale_cells": 0},
        {"scale_cells": 65}, {"scale_cells": 3}, {"settings": LinkSettings(samples_per_frame=81)},
        {"settings": LinkSettings(samples_per_frame=0)}, {"settings": LinkSettings(beat_us=1)},
        {"settings": LinkSettings(offer_window_us=0)}, {"settings": LinkSettings(tries=0)},
        {"settings": LinkSettings(liveness_us=0)}, {"settings": LinkSettings(answer_timeout_us=0)},
    ],
)  # fmt: skip
def test_a_host_that_cannot_be_is_refused_in_words(wrong: dict[str, object]) -> None:
    with pytest.raises(BadInput, match=r"; .+"):
        Hub(host_card((1,), **wrong), Dice(1))  # type: ignore[arg-type]


def test_an_address_that_is_not_expected_cannot_be_paired_or_released() -> None:
    place = site((1, 3))
    for ask in (place.hub.pair, place.hub.release):
        with pytest.raises(BadInput, match="address 2 is not expected by this host; expected: 1, 3"):
            ask(2, 0)
