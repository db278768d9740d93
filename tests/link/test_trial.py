"""A first pairing is on trial: a link too poor is told, and only what is authentic moves the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import pytest

from benchsim.ground.randomness import Streams
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import codec
from benchsim.link.frames import Kind
from benchsim.link.hub import Hub
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.replay import Replay
from benchsim.link.limits import TRIAL_FRAMES, TRIAL_PERCENT, TRIAL_US
from benchsim.link.parts import Expected, LinkSettings
from benchsim.link.trial import Trial
from tests.link.meddling import SECOND, Break, Change, Drop, Every, heal, kind_of, paired, silent
from tests.link.site import Site, Stack, node_card, site


def _told(place: Site) -> list[str]:
    return [s.step for _, s in place.states]


def _pairs(up: Stack, until_us: int = 5 * SECOND, seed: object = 0, down: Stack = ()) -> Site:
    place = site()
    place.streams = Streams(f"trial {seed}")
    place.add(node_card(1), up, down)
    return paired(place, until_us)


# -- the verdict ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("came", range(0, 41))
def test_the_least_share_is_just_enough(came: int) -> None:
    trial = Trial(8, 80, 1000, 500)
    poor = f"{100 * came // 40} % came at first sending, {came} of 40 frames; {TRIAL_PERCENT} % is the least"
    assert trial.verdict(1000 + 320, 500 + 8 * came) == ("" if 100 * came >= TRIAL_PERCENT * 40 else poor)


@pytest.mark.parametrize(("k", "rate_hz"), [(1, 80), (8, 80), (80, 80), (1, 1), (16, 1000)])
def test_a_trial_lasts_so_many_frames_and_at_least_so_long(k: int, rate_hz: int) -> None:
    trial = Trial(k, rate_hz, 24, 0)
    least = max(TRIAL_FRAMES * k, TRIAL_US * rate_hz // SECOND)
    assert not trial.over(24 + least - 1)
    assert trial.over(24 + least)


# -- over a link ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_links_that_lose_a_fifth_or_three_quarters_are_told_apart(seed: int) -> None:
    """Of 32 frames half or more come: binomially, 1 - 2e-6 at a loss of 20 %, 2e-3 at one of 75 %."""
    assert _pairs((Loss(0.2),), seed=seed).step() == "flow"
    poor = (Loss(0.75),)
    place = site()
    place.streams = Streams(f"trial {seed}")
    place.add(node_card(1))
    paired(place, SECOND // 2)
    place.places[0].up.change(poor)
    place.run(6 * SECOND)
    assert place.reason() == "link too poor" or place.step() == "lost"


@pytest.mark.parametrize(
    "stack",
    [(Delay(5_000, 40_000, overtaking=True),), (Duplicate(0.9, 300),), (Replay(0.9),), (Burst(0.02, 0.5),)],
    ids=["overtaking", "twice", "replayed", "short bursts"],
)
def test_what_loses_little_is_never_too_poor(stack: Stack) -> None:
    place = _pairs(stack, 8 * SECOND)
    assert _told(place) == ["seek", "prove", "flow"]


@pytest.mark.parametrize("k", [1, 8, 80])
def test_repeats_do_not_make_a_poor_link_a_good_one(k: int) -> None:
    """Of three frames two are lost and sent again: nothing lacks at the end, and yet it is too poor."""
    place = site(settings=LinkSettings(samples_per_frame=k))
    place.add(node_card(1), (Every(Kind.DATA, 3),))
    paired(place, 40 * SECOND if k == 80 else 5 * SECOND)
    numbers = sorted(place.numbers())
    assert [s.resent for s in place.samples].count(True) >= 10
    assert numbers[: len(numbers) // 2] == list(range(numbers[0], numbers[0] + len(numbers) // 2))
    assert place.reason() == "link too poor"
    assert " % came at first sending, " in place.detail()


def test_once_the_trial_is_over_no_loss_ends_a_flow() -> None:
    place = _pairs((), 5 * SECOND)
    place.places[0].up.change((Every(Kind.DATA, 10),))
    place.run(60 * SECOND)
    assert _told(place) == ["seek", "prove", "flow"]


def test_silence_in_a_trial_is_no_loss() -> None:
    place = _pairs((), SECOND)
    silent(place)
    place.run(4 * SECOND)
    heal(place)
    place.run(12 * SECOND)
    assert _told(place) == ["seek", "prove", "flow", "lost", "flow"]


def test_a_poor_link_is_told_after_a_silence_in_the_trial_too() -> None:
    place = _pairs((), SECOND)
    silent(place)
    place.run(4 * SECOND)
    heal(place)
    place.places[0].up.change((Every(Kind.DATA, 5),))
    place.run(12 * SECOND)
    assert place.reason() == "link too poor"


def test_a_poor_link_is_told_with_the_frame_that_ends_its_trial() -> None:
    """Not only when the host is asked what is due, which may be a long beat later."""
    told: list[str] = []

    class Heard(Hub):
        def receive(self, frame: bytes, now_us: int) -> Sequence[Samples | ClockReading | LinkState]:
            said = super().receive(frame, now_us)
            told.extend(state.step for state in said if isinstance(state, LinkState))
            return said

    place = site()
    place.hub = Heard(place.hub.card, place.streams.dice("hub"))
    place.add(node_card(1), (Every(Kind.DATA, 3),))
    paired(place, 10 * SECOND)
    assert told == ["flow", "failed"]


def test_what_a_host_pairs_by_itself_is_not_on_trial() -> None:
    place = _pairs((), 5 * SECOND)
    place.places[0].end.restart(place.queue.now_us)
    place.places[0].up.change((Every(Kind.DATA, 10),))
    place.run(30 * SECOND)
    assert _told(place)[-1] == "flow"
    assert len([f for _, _, f in place.wire if kind_of(f) is Kind.ACCEPT]) == 2


def test_a_poor_link_may_be_tried_again_and_again_and_pairs_once_it_is_good() -> None:
    place = site()
    node = place.add(node_card(1), (Every(Kind.DATA, 10),))
    for _ in range(3):
        paired(place, 5 * SECOND)
        assert (place.step(), place.reason()) == ("failed", "link too poor")
        assert node.end.bound_host == place.hub.card.host_id
    heal(place)
    paired(place, 5 * SECOND)
    assert (place.step(), place.reason(), place.hub.settled) == ("flow", "", True)


# -- what a forger can do with it ----------------------------------------------------------------------


def test_forged_and_replayed_frames_do_not_move_a_trial() -> None:
    """One sends each frame of a node thrice more: changed, from further ahead, and as it was."""
    quiet, loud = _pairs((), SECOND), _pairs((), SECOND)
    while loud.queue.now_us < 5 * SECOND:
        for place in (quiet, loud):
            place.run(place.queue.now_us + 50_000)
        told = [f for _, way, f in loud.wire if way == "up" and kind_of(f) in (Kind.DATA, Kind.ECHO)]
        for frame in told[-4:]:
            ahead = bytearray(frame[:-4])
            ahead[10:12], ahead[14:16] = b"\xff\x77", b"\x00\x7f"
            for forged in (
                codec.seal(bytes(ahead)),
                codec.seal(frame[:-13] + b"\x55" + frame[-12:-4]),
                frame,
            ):
                assert list(loud.hub.receive(forged, loud.queue.now_us)) == []
    assert [(s.first, s.arrived_us) for s in loud.samples] == [(s.first, s.arrived_us) for s in quiet.samples]
    assert _told(loud) == _told(quiet) == ["seek", "prove", "flow"]


def test_broken_frames_cannot_fail_a_pairing_that_would_succeed() -> None:
    place = site()
    place.add(node_card(1))
    place.hub.pair(0, 0)
    frames = [f for _, _, f in _pairs(()).wire if kind_of(f) in (Kind.OFFER, Kind.ACCEPT, Kind.DATA)]
    for n in range(200):
        broken = bytearray(frames[n % len(frames)])
        broken[-1] ^= 0x40
        place.queue.put(n * 2_000, partial(place._to_hub, bytes(broken)))
    place.run(5 * SECOND)
    assert _told(place) == ["seek", "prove", "flow"]
    assert place.hub.bad_frames == 200


def test_broken_frames_of_a_neighbouring_network_are_no_sign_of_a_poor_link() -> None:
    place = site()
    place.add(node_card(1), down=(Drop(Kind.PROVE),))
    place.add(node_card(1, network=8, serial=0x2002), up=(Break(Kind.OFFER), Break(Kind.REFUSE)))
    paired(place, 6 * SECOND)
    assert place.reason() == "timed out"


def test_a_node_that_goes_away_after_its_first_offer_is_no_sign_of_a_poor_link() -> None:
    place = site()
    node = place.add(node_card(1))
    place.hub.pair(0, 0)
    place.run(190_000)
    node.powered = False
    place.run(6 * SECOND)
    assert (place.reason(), place.detail()) == ("timed out", "at step prove")


# -- what a host was told ------------------------------------------------------------------------------


def test_nothing_is_sent_for_more_cells_than_addresses() -> None:
    place = site((1, 2), scale_cells=10)
    place.add(node_card(1))
    paired(place, SECOND)
    assert place.wire == []
    assert [(s.address, s.step, s.reason) for _, s in place.states] == [
        (a, step, reason)
        for a in (1, 2)
        for step, reason in (("seek", ""), ("failed", "more cells than addresses"))
    ]


def test_only_the_address_that_is_to_carry_too_much_fails() -> None:
    place = site(expected=(Expected(1, 5), Expected(2, 3)))
    place.add(node_card(1))
    place.add(node_card(2))
    paired(place)
    assert [s.step for s in place.hub.states] == ["failed", "flow"]


def test_a_host_told_better_pairs_and_lets_the_rest_flow_on() -> None:
    place = site(expected=(Expected(1, 4), Expected(2, 4)))
    for strap in (1, 2, 3):
        place.add(node_card(strap))
    paired(place, 2 * SECOND)
    more = replace(place.hub.card, scale_cells=10)
    place.hub.instruct(more, place.queue.now_us)
    assert [s.step for s in place.hub.states] == ["flow", "flow"]
    place.hub.pair(1, place.queue.now_us)
    place.run(3 * SECOND)
    assert (place.step(1), place.reason(1)) == ("failed", "more cells than addresses")
    assert place.step(2) == "flow"
    place.hub.instruct(replace(more, expected=(*more.expected, Expected(3, 2))), place.queue.now_us)
    assert [s.step for s in place.hub.states] == ["failed", "flow", "idle"]
    paired(place)
    assert [(s.step, s.reason) for s in place.hub.states] == [("flow", "")] * 3
    assert place.numbers(2) == list(range(place.numbers(2)[0], place.numbers(2)[-1] + 1))


def test_a_flow_whose_pairing_is_asked_for_beyond_the_addresses_ends() -> None:
    place = site()
    place.add(node_card(1))
    paired(place, 2 * SECOND)
    place.hub.instruct(replace(place.hub.card, scale_cells=5), place.queue.now_us)
    assert place.step() == "flow"
    place.hub.pair(1, place.queue.now_us)
    place.run(3 * SECOND)
    assert (place.step(), place.detail()) == ("failed", "5 cells need 2 addresses, 1 is set, at step seek")


def test_an_address_that_is_no_longer_expected_is_let_be() -> None:
    place = site((1, 2))
    place.add(node_card(1))
    place.add(node_card(2))
    paired(place, 2 * SECOND)
    place.hub.instruct(replace(place.hub.card, expected=(Expected(1, 4),)), place.queue.now_us)
    place.run(20 * SECOND)
    assert [s.address for s in place.hub.states] == [1]
    assert place.places[1].end.step == "lost"
    assert place.places[1].end.bound_host == place.hub.card.host_id


# -- the rate ------------------------------------------------------------------------------------------


def _with_rate(rate_hz: int | None, found_hz: int) -> Site:
    place = site(expected=(Expected(1, 4, None, rate_hz),))
    place.add(node_card(1, rate_hz=found_hz))
    return paired(place, 2 * SECOND)


@pytest.mark.parametrize("rate_hz", [None, 80])
def test_a_rate_as_told_or_none_told_pairs(rate_hz: int | None) -> None:
    assert _with_rate(rate_hz, 80).step() == "flow"


def test_another_rate_than_told_never_flows() -> None:
    place = _with_rate(100, 80)
    assert (place.reason(), place.samples) == ("another sample rate", [])
    assert place.places[0].end.bound_host is None


@pytest.mark.parametrize("rate_hz", [None, 80])
def test_a_node_that_comes_back_with_another_rate_does_not_flow(rate_hz: int | None) -> None:
    place = _with_rate(rate_hz, 80)
    place.places[0].end.restart(place.queue.now_us, node_card(1, rate_hz=400))
    place.run(8 * SECOND)
    meant = "flowed with" if rate_hz is None else "expected"
    detail = f"serial 0000000000001001: {meant} 80 Hz, found 400 Hz, at step seek"
    assert (place.reason(), place.detail()) == ("another sample rate", detail)


# -- an offer of more than was asked -------------------------------------------------------------------


def _offering(more: int) -> Site:
    """A node that offers so many samples a frame more than it was asked for."""
    place = site(settings=LinkSettings(samples_per_frame=8))
    place.add(node_card(1), (Change(Kind.OFFER, 14 + 12, bytes([8 + more])),))
    return paired(place, 3 * SECOND)


@pytest.mark.parametrize("more", [1, 72])
def test_an_offer_of_more_samples_a_frame_than_asked_is_no_answer(more: int) -> None:
    place = _offering(more)
    assert (place.step(), place.reason()) == ("failed", "nobody there")
    offers = [f for _, _, f in place.wire if kind_of(f) is Kind.OFFER]
    assert place.hub.seats[1].counters.refused == len(offers) > 0


def test_an_offer_of_more_samples_a_frame_beside_a_right_one_is_not_a_second_node() -> None:
    place = site()
    place.add(node_card(1))
    place.add(node_card(1, serial=0x2002), (Change(Kind.OFFER, 26, b"\x09"), Drop(Kind.REFUSE)))
    paired(place, 3 * SECOND)
    assert place.step() == "flow"
