"""An address keeps to the node that flowed until a person asks, and words without a tag end nothing."""

from __future__ import annotations

import numpy as np
import pytest

from benchsim.link import codec
from benchsim.link.frames import FROM_NODE, OF_NODE, Header, Kind, Message, Offer, Prove, Refuse, RefuseReason
from benchsim.link.frames import Seek as SeekMessage
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.outage import Outage
from benchsim.link.limits import ANSWERS_KEPT, EXCHANGE_LIFE_US, SERIALS_KEPT
from benchsim.link.parts import Expected
from tests.link.meddling import OTHER_HOST, SECOND, Change, Drop, heal, kind_of, paired, silent
from tests.link.site import Site, count_of, flowing, node_card, site
from tests.link.stories import STORIES


def _number(place: Site) -> int:
    watch = place.hub.seats[1].watch
    assert watch is not None
    return watch.session.number


def _forged(message: Message, number: int) -> bytes:
    flags = FROM_NODE if message.KIND in OF_NODE else 0
    return codec.seal(codec.body_of(Header(1, message.KIND, 7, 1, flags, number, 0), message))


def _refuse(reason: RefuseReason, serial: int, number: int) -> bytes:
    return _forged(Refuse(reason, serial, 7, 1, 1), number)


def _offer(serial: int, number: int) -> bytes:
    return _forged(Offer(serial, 1, 4, 80, 8, 1, 0, 100, bytes(8), bytes(31) + b"\x01"), number)


def _lost(place: Site) -> Site:
    """Until the first address is lost, its session still held."""
    silent(place)
    place.run(place.queue.now_us + 2 * SECOND)
    assert place.step() == "lost"
    return place


# -- one node and no other -----------------------------------------------------------------------------


def _straps_exchanged() -> Site:
    place = flowing((1, 2))
    one, two = place.places
    one.end.restart(place.queue.now_us, node_card(2, serial=0x1001))
    two.end.restart(place.queue.now_us, node_card(1, serial=0x1002))
    place.run(12 * SECOND)
    return place


def test_straps_of_two_nodes_exchanged_in_mid_run_let_nothing_flow() -> None:
    place = _straps_exchanged()
    for address, own, other in ((1, 0x1001, 0x1002), (2, 0x1002, 0x1001)):
        assert (place.step(address), place.reason(address)) == ("failed", "another node answers")
        assert place.detail(address) == f"serial {own:016X} flowed, serial {other:016X} answers, at step seek"
        rows = [np.frombuffer(s.octets, "<i4")[0] for s in place.samples if s.address == address]
        firsts = [s.first for s in place.samples if s.address == address]
        assert rows == [count_of(own, first, 0) for first in firsts]


def test_a_person_who_asks_to_pair_may_have_another_node() -> None:
    place = _straps_exchanged()
    place.hub.pair(0, place.queue.now_us)
    place.run(14 * SECOND)
    assert [s.step for s in place.hub.states] == ["flow", "flow"]
    assert place.detail(1) == "serial 0000000000001002"


def test_a_second_node_on_the_strap_does_not_take_over_from_one_that_is_away() -> None:
    place = flowing()
    second = place.add(node_card(1, serial=0x7777))
    second.fed = place.places[0].fed
    silent(place)
    place.run(5 * SECOND)
    assert (place.step(), place.reason()) == ("failed", "another node answers")
    assert second.end.bound_host is None


def test_a_second_node_on_the_strap_is_told_of_when_the_first_one_resumes() -> None:
    place = flowing()
    silent(place)
    place.run(2 * SECOND + 950_000)
    second = place.add(node_card(1, serial=0x7777), up=(Delay(0),))
    second.fed = place.places[0].fed
    place.places[0].up.change((Delay(100_000),))  # so that the second one is heard first
    place.places[0].down.change(())
    place.run(6 * SECOND)
    assert place.step() == "flow"
    assert place.detail() == "serial 0000000000001001; here answers too: serial 0000000000007777"
    assert second.end.bound_host is None


def test_two_nodes_that_both_lack_the_session_are_two_nodes() -> None:
    place = flowing()
    second = place.add(node_card(1, serial=0x7777))
    second.fed = place.places[0].fed
    place.places[0].end.restart(place.queue.now_us)
    place.run(8 * SECOND)
    assert (place.step(), place.reason()) == ("failed", "two nodes on one address")


def test_another_calibration_is_not_taken_by_an_automatic_pairing() -> None:
    place = flowing()
    place.places[0].end.restart(place.queue.now_us, node_card(1, fingerprint=b"\x07" * 8))
    place.run(8 * SECOND)
    assert (place.step(), place.reason()) == ("failed", "calibration fingerprint changed")
    assert "flowed with 0000000000000000, found 0707070707070707" in place.detail()
    paired(place)
    assert place.step() == "flow"


def test_the_same_calibration_under_a_seal_pairs_by_itself() -> None:
    place = site(expected=(Expected(1, 4, bytes(8)),))
    place.add(node_card(1))
    paired(place, 2 * SECOND)
    place.places[0].end.restart(place.queue.now_us)
    place.run(6 * SECOND)
    assert place.step() == "flow"


# -- words without a tag -------------------------------------------------------------------------------


@pytest.mark.parametrize("reason", list(RefuseReason), ids=lambda r: r.name.lower())
def test_no_refusal_ends_a_flow_that_was_resumed(reason: RefuseReason) -> None:
    place = _lost(flowing())
    heal(place)
    while place.step() != "flow":
        place.run(place.queue.now_us + 10_000)
    place.hub.receive(_refuse(reason, 5, _number(place)), place.queue.now_us)
    place.run(place.queue.now_us + 3 * SECOND)
    assert place.step() == "flow"


def test_a_forged_offer_while_lost_does_not_make_the_host_give_up() -> None:
    place = _lost(flowing())
    assert list(place.hub.receive(_offer(99, _number(place)), place.queue.now_us)) == []
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    heal(place)
    node.up.change((Drop(Kind.OFFER),))
    place.run(place.queue.now_us + 6 * SECOND)
    heal(place)
    place.run(place.queue.now_us + 4 * SECOND)
    assert place.step() == "flow"


def test_a_neighbour_of_another_network_does_not_fail_an_address_that_has_flowed() -> None:
    place = flowing()
    place.add(node_card(1, serial=0x9999, network=9))
    own = place.places[0]
    own.end.restart(place.queue.now_us)
    own.up.change((Drop(Kind.OFFER),))
    place.run(8 * SECOND)
    assert place.step() in ("lost", "seek")
    told = [s.detail for _, s in place.states if s.step == "lost"]
    assert told[-1] == "wrong network: serial 0000000000009999 is set to network 9"
    heal(place)
    place.run(12 * SECOND)
    assert place.step() == "flow"


def test_a_late_word_of_a_neighbour_does_not_end_a_pairing() -> None:
    place = site()
    place.add(node_card(1), up=(Drop(Kind.ACCEPT, 1),))
    place.add(node_card(1, serial=0x9999, network=9), up=(Delay(250_000),))
    paired(place, 3 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]
    told = [f for _, _, f in place.wire if kind_of(f) is Kind.REFUSE]
    assert [f[14] for f in told] == [RefuseReason.WRONG_NETWORK]


def test_a_node_that_restarts_after_its_offer_and_hears_a_late_seek_has_no_wrong_key() -> None:
    place = site()
    node = place.add(node_card(1))
    place.hub.pair(0, 0)
    while not any(kind_of(f) is Kind.OFFER for _, _, f in place.wire):
        place.run(place.queue.now_us + 1000)
    seek = next(f for _, _, f in place.wire if kind_of(f) is Kind.SEEK)
    node.end.restart(place.queue.now_us)
    node.end.receive(seek, place.queue.now_us)
    place.run(3 * SECOND)
    assert "failed" not in [s.step for _, s in place.states]
    assert place.step() == "flow"


def test_a_wrong_key_does_not_end_the_search_for_a_node_that_has_flowed() -> None:
    place = flowing()
    node = place.places[0]
    node.end.restart(place.queue.now_us)
    node.down.change((Change(Kind.PROVE, -1, b"\x55"),))
    place.run(8 * SECOND)
    assert "failed" not in [s.step for _, s in place.states]
    assert "wrong key: serial 0000000000001001" in [s.detail for _, s in place.states if s.step == "lost"]
    heal(place)
    place.run(12 * SECOND)
    assert place.step() == "flow"


def test_a_wrong_proof_does_not_end_the_search_for_a_node_that_has_flowed() -> None:
    assert STORIES["wrong_proof_after_a_restart"]().step() == "flow"


# -- nothing grows -------------------------------------------------------------------------------------


def test_copies_of_one_seek_leave_one_answer() -> None:
    place = site()
    end = place.add(node_card(1)).end
    seek = SeekMessage(0xA0, 1, 1, 8, 4, SECOND, 10 * SECOND, bytes([9]) + bytes(31))
    for _ in range(1000):
        end.receive(_forged(seek, 5), 0)
    assert len(end.due(8 * SECOND)[0]) == 1


def test_refusals_wait_in_a_bounded_number() -> None:
    place = flowing()
    end = place.places[0].end
    seek = SeekMessage(OTHER_HOST, 1, 1, 8, 4, SECOND, 10 * SECOND, bytes([9]) + bytes(31))
    for number in range(1, 500):
        end.receive(_forged(seek, number), place.queue.now_us)
    sent = end.due(place.queue.now_us + 3 * SECOND)[0] + end.due(place.queue.now_us + 6 * SECOND)[0]
    assert 0 < sum(kind_of(f) is Kind.REFUSE for f in sent) <= ANSWERS_KEPT


def test_a_host_names_a_bounded_number_of_serials() -> None:
    place = site()
    place.hub.pair(0, 0)
    place.run(1000)
    number = int.from_bytes(place.wire[0][2][6:10], "little")
    for serial in range(1, 500):
        place.hub.receive(_offer(serial, number), 1000)
        place.hub.receive(_refuse(RefuseReason.BOUND, 1000 + serial, number), 1000)
    place.run(400_000)
    assert place.reason() == "two nodes on one address"
    assert place.detail().removesuffix(", at step seek").count(",") == 2 * SERIALS_KEPT - 1


@pytest.mark.parametrize("what", ["the same seek", "a wrong proof"])
def test_nothing_unproven_makes_an_exchange_live_longer(what: str) -> None:
    place = site()
    end = place.add(node_card(1)).end
    seek = SeekMessage(OTHER_HOST, 1, 1, 8, 4, SECOND, 1000, bytes([9]) + bytes(31))
    end.receive(_forged(seek, 5), 0)
    again = _forged(seek, 5) if what == "the same seek" else _forged(Prove(0x1001, bytes(16)), 5)
    end.receive(again, EXCHANGE_LIFE_US - 1000)
    assert end.step == "offer"
    end.due(EXCHANGE_LIFE_US + 1000)
    assert end.step == "idle"


# -- release -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", ["idle", "seek", "prove", "failed"])
def test_who_is_let_go_without_being_told_may_still_be_bound(step: str) -> None:
    place = STORIES[f"release_asked_from_{step}"]()
    assert place.step() == "released"
    assert "may still be bound" in place.detail()


def test_a_release_that_was_answered_says_nothing_of_the_kind() -> None:
    place = STORIES["released"]()
    assert (place.step(), place.detail()) == ("released", "")


def test_a_lost_address_without_a_session_can_be_let_go() -> None:
    place = STORIES["let_go_while_lost_without_a_session"]()
    assert place.step() == "released"
    assert place.places[0].end.bound_host == place.hub.card.host_id
    assert "may still be bound" in place.detail()


def test_a_node_that_is_an_epoch_ahead_is_let_go_too() -> None:
    place = STORIES["released_while_half_lost"]()
    assert place.step() == "released"
    assert place.places[0].end.bound_host is None


def test_nothing_but_its_confirmation_is_heard_while_a_node_is_let_go() -> None:
    place = flowing()
    place.places[0].up.change((Drop(Kind.DATA, 1), Drop(Kind.REPEAT)))
    while not any(kind_of(f) is Kind.REPEAT for _, _, f in place.wire):
        place.run(place.queue.now_us + 1000)
    held = next(f for _, _, f in place.wire if kind_of(f) is Kind.REPEAT)
    _lost(place)
    now_us = place.queue.now_us
    place.hub.release(1, now_us)
    assert place.step() == "release"
    place.hub.due(now_us)
    assert list(place.hub.receive(held, now_us)) == []


def test_sessions_are_taken_up_when_answers_are_slower_than_the_answer_timeout() -> None:
    slow = (Delay(300_000),)
    place = flowing(up=slow, down=slow, until_us=6 * SECOND)
    place.places[0].up.change((Outage(),))
    place.run(9 * SECOND)
    place.places[0].up.change(slow)
    place.run(13 * SECOND)
    assert place.step() == "flow"
    assert len({f for _, _, f in place.wire if kind_of(f) is Kind.ACCEPT}) == 1
    assert max(s.arrived_us for s in place.samples) > 12_800_000
