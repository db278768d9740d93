"""Data that cannot lie: gaps found and filled, nothing twice, nothing stale, back after every outage."""

from __future__ import annotations

import numpy as np
import pytest

from benchsim.ground.randomness import Streams
from benchsim.ground.readings import Counts
from benchsim.link import codec, data
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Again, Data, Header, Kind, Refuse, RefuseReason, Release, Resume
from benchsim.link.hub import Hub
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.outage import Outage
from benchsim.link.limits import AGAIN_TRIES
from benchsim.link.parts import LinkSettings
from benchsim.link.session import Session
from tests.link.meddling import SECOND, Drop, kind_of, paired
from tests.link.site import PERIOD_US, Site, count_of, flowing, host_card, node_card, site
from tests.link.stories import STORIES


def _whole(place: Site, address: int = 1) -> bool:
    numbers = sorted(place.numbers(address))
    return numbers == list(range(numbers[0], numbers[-1] + 1))


def _sent(place: Site, kind: Kind) -> list[bytes]:
    return [frame for _, _, frame in place.wire if kind_of(frame) is kind]


def test_samples_arrive_as_they_were_read() -> None:
    place = flowing((1, 2))
    for samples in place.samples:
        rows = np.frombuffer(samples.octets, "<i4").reshape(samples.rows, samples.channels)
        serial = 0x1000 + samples.address
        for n in range(samples.rows):
            assert rows[n].tolist() == [count_of(serial, samples.first + n, c) for c in range(4)]
        assert samples.node_t_us == (samples.first + 1) * PERIOD_US + 77
        assert samples.status == bytes(4)
        assert not samples.resent


def test_a_frame_leaves_when_its_last_sample_is_complete() -> None:
    place = flowing()
    for t_us, _, frame in place.wire:
        if kind_of(frame) is Kind.DATA:
            first = int.from_bytes(frame[14:22], "little")
            assert t_us == (first + 8) * PERIOD_US


@pytest.mark.parametrize("block", [1, 3, 8, 40, 400])
def test_frames_do_not_depend_on_how_samples_are_fed(block: int) -> None:
    def frames(size: int) -> list[tuple[int, str, bytes]]:
        place = site()
        place.add(node_card(1))
        place.hub.pair(0, 0)
        place.run(8 * SECOND, size)
        return place.wire

    assert frames(block) == frames(16)


def test_status_is_of_all_the_samples_of_its_frame() -> None:
    place = flowing()
    node = place.places[0]
    rows = 16
    t_us = (node.fed + 1 + np.arange(rows, dtype=np.int64)) * PERIOD_US
    status = np.zeros((rows, 4), np.uint8)
    status[3, 1], status[5, 1], status[9, 2] = 1, 8, 2
    node.end.feed(Counts(node.fed, t_us, t_us, np.zeros((rows, 4), np.int32), status))
    node.fed += rows
    place.run(int(t_us[-1]))
    assert [s.status for s in place.samples[-2:]] == [bytes([0, 9, 0, 0]), bytes([0, 0, 2, 0])]


# -- gaps ----------------------------------------------------------------------------------------------


def test_a_lost_frame_is_asked_for_and_sent_again() -> None:
    place = flowing()
    place.places[0].up.change((Drop(Kind.DATA, 1),))
    place.run(3 * SECOND)
    assert _whole(place)
    again = [s for s in place.samples if s.resent]
    assert [s.rows for s in again] == [8]
    asked = codec.read(_sent(place, Kind.AGAIN)[0])
    assert isinstance(asked, Frame)
    assert asked.message == Again(((again[0].first, 8),))


def test_a_repeat_that_is_lost_is_asked_for_again() -> None:
    place = flowing()
    place.places[0].up.change((Drop(Kind.DATA, 2), Drop(Kind.REPEAT, 2)))
    place.run(4 * SECOND)
    assert _whole(place)


def test_what_cannot_be_had_is_given_up_after_the_tries_and_stays_a_gap() -> None:
    place = flowing()
    place.places[0].up.change((Drop(Kind.DATA, 1), Drop(Kind.REPEAT)))
    place.run(6 * SECOND)
    watch = place.hub.seats[1].watch
    assert watch is not None
    assert watch.gaps.given_up == 8
    assert not watch.gaps.gaps
    assert len(_sent(place, Kind.AGAIN)) == AGAIN_TRIES
    assert not _whole(place)
    assert place.step() == "flow"


def test_a_node_says_what_it_no_longer_has() -> None:
    place = site()
    place.add(node_card(1, buffer_samples=40))
    paired(place, 2 * SECOND)
    watch = place.hub.seats[1].watch
    assert watch is not None
    watch.gaps.reach = 10_000  # a host that believes the node keeps more
    place.places[0].up.change((Drop(Kind.DATA, 20),))
    place.run(6 * SECOND)
    gone = codec.read(_sent(place, Kind.GONE)[0])
    assert isinstance(gone, Frame)
    assert not watch.gaps.gaps
    assert watch.gaps.given_up > 0
    assert watch.gaps.given_up + sum(s.rows for s in place.samples if s.resent) == 160


def test_a_host_does_not_ask_for_more_than_the_node_keeps() -> None:
    place = site()
    place.add(node_card(1, buffer_samples=40))
    paired(place, 2 * SECOND)
    place.places[0].up.change((Drop(Kind.DATA, 20),))
    place.run(6 * SECOND)
    sent = 0
    for _, way, frame in place.wire:
        heard = codec.read(frame)
        assert isinstance(heard, Frame)
        if isinstance(heard.message, Data):
            sent = max(sent, heard.message.first + 8)
        elif isinstance(heard.message, Again):
            assert way == "down"
            asked = heard.message.ranges[0][0]
            assert asked >= sent - 40 - 8  # one frame may have left since the host last heard


def test_samples_are_never_repeated_before_they_are_complete() -> None:
    """After a resume the first frame begins later; what lies before it is asked for while still read."""
    place = site(settings=LinkSettings(samples_per_frame=80, liveness_us=1_500_000))
    place.add(node_card(1))
    paired(place, 5 * SECOND)
    place.places[0].up.change((Outage(),))
    place.run(8 * SECOND)
    place.places[0].up.change(())
    place.run(14 * SECOND)
    assert [s for s in place.samples if s.resent]
    for samples in place.samples:
        assert samples.arrived_us >= (samples.first + samples.rows) * PERIOD_US
    assert _whole(place)


def test_frames_that_overtake_each_other_are_no_gap_for_long() -> None:
    place = flowing(up=(Delay(0, 150_000, overtaking=True),), until_us=20 * SECOND)
    assert place.numbers() != sorted(place.numbers())
    place.places[0].up.change(())
    place.run(22 * SECOND)
    assert _whole(place)
    assert len(place.numbers()) == len(set(place.numbers()))


def test_frames_that_come_twice_are_taken_once() -> None:
    place = flowing(up=(Duplicate(1.0, 500),), down=(Duplicate(1.0, 500),), until_us=5 * SECOND)
    assert _whole(place)
    assert len(place.numbers()) == len(set(place.numbers()))
    assert place.hub.seats[1].counters.refused > 0


def test_a_gap_before_the_first_frame_is_a_gap_too() -> None:
    place = site()
    place.add(node_card(1), up=(Drop(Kind.DATA, 1),))
    paired(place, 2 * SECOND)
    accept = codec.read(_sent(place, Kind.ACCEPT)[0])
    assert isinstance(accept, Frame)
    assert min(place.numbers()) == accept.message.next_sample  # type: ignore[union-attr]
    assert _whole(place)


# -- what is not authentic, not new, not now -----------------------------------------------------------


def _session_of(place: Site) -> Session:
    watch = place.hub.seats[1].watch
    assert watch is not None
    return watch.session


def test_a_replayed_frame_is_refused() -> None:
    place = flowing()
    taken = len(place.samples)
    for frame in _sent(place, Kind.DATA) + _sent(place, Kind.ECHO) + _sent(place, Kind.ACCEPT):
        assert list(place.hub.receive(frame, place.queue.now_us)) == []
    assert len(place.samples) == taken


def test_frames_of_an_old_session_are_refused_in_the_new_one() -> None:
    place = flowing()
    old = _sent(place, Kind.DATA)
    place.hub.pair(1, place.queue.now_us)
    place.run(4 * SECOND)
    for frame in old:
        assert list(place.hub.receive(frame, place.queue.now_us)) == []


def test_frames_of_the_old_epoch_are_refused_in_the_new_one() -> None:
    place = STORIES["outage_of_both_ways"]()
    session = _session_of(place)
    assert session.epoch > 0
    for frame in _sent(place, Kind.DATA)[:20]:
        assert data.take(session, frame) in ("its tag is wrong", "seen before, or older than the window")


def test_data_held_back_over_an_outage_is_dropped_until_the_node_proves_it_is_there() -> None:
    place = flowing()
    held: list[bytes] = []
    place.places[0].up.change((Outage(),))
    place.run(4 * SECOND)
    held = [f for t, _, f in place.wire if t > 2 * SECOND and kind_of(f) is Kind.DATA]
    assert place.step() == "lost"
    assert held
    for frame in held:
        assert list(place.hub.receive(frame, place.queue.now_us)) == []


def test_a_replayed_resume_moves_nothing() -> None:
    place = STORIES["outage_of_both_ways"]()
    end = place.places[0].end
    session = end.session
    assert session is not None
    epoch = session.epoch
    for frame in _sent(place, Kind.RESUME) + _sent(place, Kind.BEAT) + _sent(place, Kind.PROVE):
        end.receive(frame, place.queue.now_us)
    assert session.epoch == epoch
    place.run(14 * SECOND)
    assert place.step() == "flow"
    assert _whole(place)


def test_a_forged_release_lets_nobody_go() -> None:
    place = flowing()
    end = place.places[0].end
    session = _session_of(place)
    forger = Session(session.number, 1, 7, 1, 0, bytes(32))
    forger.sequence = 1000
    end.receive(forger.control_frame(Release(0)), place.queue.now_us)
    end.receive(forger.resume_frame(Resume(9, bytes(16))), place.queue.now_us)
    assert end.bound_host is not None
    assert end.bad_tags == 2
    place.run(4 * SECOND)
    assert place.step() == "flow"


@pytest.mark.parametrize("reason", list(RefuseReason), ids=lambda r: r.name.lower())
def test_no_refusal_ends_a_flow(reason: RefuseReason) -> None:
    """They carry no tag: whoever hears the session number can forge them."""
    place = flowing()
    header = Header(1, Kind.REFUSE, 7, 1, FROM_NODE, _session_of(place).number, 0)
    place.hub.receive(codec.seal(codec.body_of(header, Refuse(reason, 5, 7, 1, 1))), place.queue.now_us)
    place.run(4 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


# -- silence and coming back ---------------------------------------------------------------------------


def test_a_silent_node_is_lost_after_the_liveness_limit_and_the_reason_says_so() -> None:
    place = flowing()
    last_us = max(s.arrived_us for s in place.samples)
    place.places[0].up.change((Outage(),))
    place.run(4 * SECOND)
    t_us, state = place.states[-1]
    assert (state.step, state.reason) == ("lost", "lost: silent for 1 s")
    assert t_us <= last_us + 1 * SECOND + 200_000


def test_after_an_outage_the_session_goes_on_with_new_keys_and_the_gap_is_filled() -> None:
    place = STORIES["outage_of_both_ways"]()
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow", "lost", "flow"]
    assert len(_sent(place, Kind.ACCEPT)) == 1
    assert _whole(place)
    assert sum(s.rows for s in place.samples if s.resent) > 500


def test_a_node_that_restarts_is_paired_anew_without_being_asked() -> None:
    place = STORIES["node_restarts"]()
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow", "lost", "seek", "prove", "flow"]
    assert place.step() == "flow"


@pytest.mark.parametrize(
    "story",
    ["node_is_away_for_long", "proofs_lost_after_a_restart", "outage_downwards", "host_restarts",
     "host_restarts_after_silence", "late_release_while_pairing_anew", "forged_prove_before_the_right_one",
     "node_restarts_after_its_offer"],
)  # fmt: skip
def test_the_flow_comes_back(story: str) -> None:
    place = STORIES[story]()
    assert place.step() == "flow"
    newest = max(s.arrived_us for s in place.samples)
    assert newest > place.queue.now_us - 150_000


def test_new_keys_are_made_before_a_counter_ends_without_stopping_the_flow() -> None:
    place = STORIES["new_keys_before_a_counter_ends"]()
    assert _session_of(place).epoch == 1
    assert _session_of(place).sequence < 100
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]
    assert _whole(place)


def test_release_lets_the_node_go_and_another_host_may_have_it() -> None:
    place = STORIES["released"]()
    assert place.step() == "released"
    assert place.places[0].end.bound_host is None
    assert STORIES["released_and_taken_by_another"]().step() == "flow"


def test_a_release_whose_answer_is_lost_is_asked_again() -> None:
    assert STORIES["released_answer_lost"]().step() == "released"


def test_a_release_that_nobody_answers_says_that_the_node_may_still_be_bound() -> None:
    place = STORIES["release_never_answered"]()
    assert (place.step(), place.reason()) == ("failed", "timed out")
    assert "may still be bound" in place.detail()
    assert place.places[0].end.bound_host == place.hub.card.host_id


# -- clock and counters --------------------------------------------------------------------------------


def test_clock_readings_hold_the_true_clock_within_half_the_round_trip() -> None:
    place = flowing(up=(Delay(3_000, 9_000),), down=(Delay(1_000, 20_000),), until_us=20 * SECOND)
    assert len(place.clocks) >= 20
    for reading in place.clocks:
        assert 4_000 <= reading.round_trip_us <= 33_001
        assert abs(reading.node_t_us - 77 - reading.host_t_us) <= reading.round_trip_us / 2 + 1


def test_the_first_readings_come_soon_after_the_flow_began() -> None:
    place = flowing()
    began_us = next(t for t, s in place.states if s.step == "flow")
    assert len([c for c in place.clocks if c.host_t_us < began_us + 200_000]) >= 4


def test_two_sites_of_one_seed_say_the_same_octets() -> None:
    def wire() -> list[tuple[int, str, bytes]]:
        return flowing((1, 2), up=(Loss(0.1), Delay(2_000, 5_000)), until_us=10 * SECOND).wire

    assert wire() == wire()


def test_samples_that_were_never_taken_leave_a_gap_that_is_gone() -> None:
    """A node whose converter stood still: its counter jumps, and nothing is made up between."""
    place = flowing()
    node = place.places[0]
    missing = node.fed
    node.fed += 33
    place.run(place.queue.now_us + 3 * SECOND)
    numbers = place.numbers()
    assert not set(range(missing, missing + 33)) & set(numbers)
    assert len(numbers) == len(set(numbers))
    assert max(numbers) > missing + 33
    assert place.step() == "flow"


def test_a_host_with_a_short_liveness_limit_still_flows_when_frames_are_long() -> None:
    place = site(settings=LinkSettings(samples_per_frame=80, liveness_us=1_200_000, beat_us=500_000))
    place.add(node_card(1))
    paired(place, 6 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


def test_an_unknown_address_network_or_kind_is_let_be() -> None:
    place = flowing()
    hub = Hub(host_card((2,), network=9), Streams("x").dice("y"))
    for _, _, frame in place.wire:
        assert list(hub.receive(frame, 0)) == []
    assert hub.states[0].step == "idle"
