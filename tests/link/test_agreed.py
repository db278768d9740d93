"""What was agreed is kept to, also by a node whose frames are authentic; spent counters; liveness."""

from __future__ import annotations

import pytest

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice, Streams
from benchsim.ground.readings import ClockReading, Samples
from benchsim.link import codec, data
from benchsim.link.codec import Frame
from benchsim.link.frames import Echo, Kind, Release
from benchsim.link.gaps import Gaps
from benchsim.link.hub import Hub
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.loss import Loss
from benchsim.link.limits import LIVENESS_MARGIN_US, MAX_GAPS, REKEY_AT, SEQUENCE_LAST
from benchsim.link.parts import LinkSettings
from benchsim.link.session import Session
from benchsim.link.watch import Watch
from tests.link.meddling import SECOND, Drop, kind_of, paired, silent
from tests.link.site import PERIOD_US, Site, block_of, flowing, host_card, node_card, site


def _ends(place: Site) -> tuple[Watch, Session]:
    watch, session = place.hub.seats[1].watch, place.places[0].end.session
    assert watch is not None
    assert session is not None
    return watch, session


def _speak(place: Site, kind: Kind, first: int, rows: int, channels: int) -> list[object]:
    """The node says this with the right keys; what the host makes of it."""
    _, session = _ends(place)
    sequence = session.data_sequence + 10 if kind is Kind.DATA else session.sequence + 10
    cut = (0, bytes(channels), bytes(4 * rows * channels))
    frame = data.make(session, kind, sequence, first, cut, rows)
    return list(place.hub.receive(frame, place.queue.now_us))


ODD = [
    ("fewer rows than agreed", 0, 3, 4), ("more rows than agreed", 0, 16, 4),
    ("fewer channels than offered", 0, 8, 1), ("no multiple of k", 4, 8, 4),
    ("a jump of 2^62", 1 << 62, 8, 4), ("a jump of ten minutes", 48_000, 8, 4),
]  # fmt: skip


@pytest.mark.parametrize(("ahead", "rows", "channels"), [o[1:] for o in ODD], ids=[o[0] for o in ODD])
def test_data_that_breaks_the_agreement_is_dropped(ahead: int, rows: int, channels: int) -> None:
    place = flowing()
    watch, _ = _ends(place)
    refused = watch.counters.refused
    assert _speak(place, Kind.DATA, watch.gaps.next + ahead, rows, channels) == []
    assert watch.counters.refused == refused + 1
    place.run(4 * SECOND)
    numbers = sorted(place.numbers())
    assert numbers == list(range(numbers[0], numbers[-1] + 1))


def test_data_that_keeps_it_is_taken() -> None:
    place = flowing()
    watch, _ = _ends(place)
    assert [type(s) for s in _speak(place, Kind.DATA, watch.gaps.next, 8, 4)] == [Samples]


@pytest.mark.parametrize(("rows", "channels", "taken"), [(8, 4, 1), (3, 4, 1), (8, 1, 0), (16, 4, 0)])
def test_repeats_keep_to_it_too(rows: int, channels: int, taken: int) -> None:
    place = flowing()
    watch, _ = _ends(place)
    place.places[0].up.change((Drop(Kind.DATA, 2), Drop(Kind.REPEAT)))
    place.run(2 * SECOND + 350_000)
    assert watch.gaps.gaps
    assert len(_speak(place, Kind.REPEAT, watch.gaps.gaps[0].first, rows, channels)) == taken


def test_only_a_beat_that_was_sent_gives_a_clock_reading() -> None:
    place = flowing()
    _, session = _ends(place)
    beats = [codec.read(f) for _, _, f in place.wire if kind_of(f) is Kind.BEAT]
    assert isinstance(beats[-1], Frame)
    sent_us = beats[-1].message.host_t_us  # type: ignore[union-attr]
    for host_t_us, readings in ((sent_us + 1, 0), (1 << 63, 0), (sent_us, 1)):
        session.sequence += 1
        frame = session.control_frame(Echo(host_t_us, 5, 0))
        told = place.hub.receive(frame, place.queue.now_us)
        assert [type(t) for t in told] == [ClockReading] * readings


def test_times_and_counters_that_no_node_can_have_reach_nobody() -> None:
    place = flowing()
    watch, session = _ends(place)
    frame = data.make(session, Kind.DATA, 500, watch.gaps.next, (1 << 62, bytes(4), bytes(128)), 8)
    assert list(place.hub.receive(frame, place.queue.now_us)) == []
    beat = next(f for _, _, f in reversed(place.wire) if kind_of(f) is Kind.BEAT)
    session.sequence += 1
    echo = session.control_frame(Echo(int.from_bytes(beat[14:22], "little"), 1 << 63, 0))
    assert list(place.hub.receive(echo, place.queue.now_us)) == []


# -- counters ------------------------------------------------------------------------------------------


def test_an_end_whose_control_lane_is_spent_says_nothing_more_in_it() -> None:
    place = flowing()
    watch, session = _ends(place)
    session.sequence = SEQUENCE_LAST
    before = len([f for _, _, f in place.wire if kind_of(f) is Kind.ECHO])
    place.run(6 * SECOND)
    assert len([f for _, _, f in place.wire if kind_of(f) is Kind.ECHO]) > before + 1  # after new keys
    assert watch.session.epoch == 1
    assert place.step() == "flow"
    session.sequence = SEQUENCE_LAST + 1
    place.places[0].end.receive(watch.session.control_frame(Release(0)), place.queue.now_us)
    assert not [f for f in place.places[0].end.due(place.queue.now_us)[0] if kind_of(f) is Kind.RELEASED]


def test_a_node_whose_data_lane_is_spent_is_not_woken_for_what_it_cannot_send() -> None:
    place = flowing()
    end, session = place.places[0].end, _ends(place)[1]
    end.stream.stop()
    end.stream.begin(session, 8, end.stream.boundary(place.queue.now_us, 8))
    session.data_sequence = SEQUENCE_LAST + 1
    end.feed(block_of(end.card, place.places[0].fed, 64))
    later_us = place.queue.now_us + 400_000
    frames, wake_us = end.due(later_us)
    assert not [f for f in frames if kind_of(f) is Kind.DATA]
    assert wake_us is not None
    assert wake_us > later_us


def test_new_keys_are_asked_for_again_when_the_answer_was_lost() -> None:
    place = flowing()
    watch, _ = _ends(place)
    watch.session.sequence = REKEY_AT
    place.places[0].up.change((Drop(Kind.RESUMED, 1),))
    place.run(8 * SECOND)
    assert watch.session.epoch == 2
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


def test_gaps_stay_bounded_when_repeats_split_them() -> None:
    gaps = Gaps(0, 60_000)
    gaps.take(1000, 1, 0)
    for n in range(2 * MAX_GAPS):
        gaps.take(2 * n + 1, 1, 0)
        assert len(gaps.gaps) <= MAX_GAPS
    gaps = Gaps(0, 60_000)
    gaps.take(1000, 1, 0)
    for n in range(2 * MAX_GAPS):
        gaps.gone(2 * n + 1, 2 * n + 2)
        assert len(gaps.gaps) <= MAX_GAPS


# -- liveness ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stack", [(), (Delay(4_000, 6_000),)])
@pytest.mark.parametrize("liveness_us", [10_000, 1_000_000])
def test_long_frames_do_not_make_a_node_lost_and_found(stack: tuple[Delay, ...], liveness_us: int) -> None:
    place = site(settings=LinkSettings(samples_per_frame=80, liveness_us=liveness_us))
    place.add(node_card(1), stack, stack)
    paired(place, 60 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


def test_long_frames_and_some_loss_do_not_make_a_node_lost_either() -> None:
    place = site(settings=LinkSettings(samples_per_frame=80))
    place.add(node_card(1), (Loss(0.02),), (Loss(0.02),))
    paired(place, 120 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


def test_the_liveness_limit_is_never_less_than_two_frame_times_and_the_margin() -> None:
    for k, wanted_us in ((8, 1_000_000), (80, 2 * 80 * PERIOD_US + LIVENESS_MARGIN_US)):
        place = site(settings=LinkSettings(samples_per_frame=k))
        place.add(node_card(1))
        paired(place, 3 * SECOND)
        last_us = max(s.arrived_us for s in place.samples)
        silent(place, down=False)
        place.run(8 * SECOND)
        lost_us = next(t for t, s in place.states if s.step == "lost")
        assert lost_us - last_us <= wanted_us + 250_000
        assert lost_us - last_us >= wanted_us


def test_a_node_whose_converter_stands_still_is_not_lost() -> None:
    """It echoes; the host asks in good time whether it is there."""
    place = flowing()
    place.places[0].up.change((Drop(Kind.DATA), Drop(Kind.REPEAT)))
    place.run(20 * SECOND)
    assert [s.step for _, s in place.states] == ["seek", "prove", "flow"]


def test_a_liveness_limit_below_10_ms_is_no_setting() -> None:
    with pytest.raises(BadInput, match="10 ms or more"):
        Hub(host_card((1,), settings=LinkSettings(liveness_us=9_999)), Dice(1))


def test_a_host_that_starts_again_with_the_same_dice_pairs() -> None:
    place = flowing()
    place.hub = Hub(place.hub.card, Streams("host").dice("hub"))
    paired(place)
    assert place.step() == "flow"
