"""A second network on the channel, a rogue with our network's number, and someone who replays frames."""

from __future__ import annotations

import math
import struct

import pytest

from benchsim.ground.randomness import Dice
from benchsim.link import codec
from benchsim.link.frames import Data
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.replay import Replay
from benchsim.link.impairments.stranger import MOST_HEARD, Stranger
from tests.link.site import count_of, flowing

FRAME = bytes(176)
CHANNEL = Rate(250_000)


def _carried(stranger: Stranger, times_us: list[int], frame: bytes = FRAME) -> tuple[list[bool], list[bytes]]:
    """Which of our frames came out, and the frames that were not ours."""
    passage = stranger.start(Dice(6))
    outs = [passage.carry(frame, t) for t in times_us]
    theirs = [f for out in outs for _, f in out if f != frame]
    return [any(f == frame for _, f in out) for out in outs], theirs


# -- another network -----------------------------------------------------------------------------------


@pytest.mark.parametrize("gap_us", [2_000, 20_000, 300_000])
@pytest.mark.parametrize("octets", [20, 176])
def test_frames_meet_those_of_the_other_network_as_often_as_a_renewal_process_says(
    gap_us: int, octets: int
) -> None:
    # passes: the channel is free as it begins, gap / (gap + frame), and no gap ends within its air time
    count, spacing_us = 10_000, 3 * gap_us + 40_000
    stranger = Stranger(gap_us)
    free = gap_us / (gap_us + 5632)  # 176 octets of 32 us
    stays_free = math.exp(-octets * 32 / gap_us)  # the gap's law in the limit of a fine clock
    assert stranger.hit(octets) == pytest.approx(1 - free * stays_free, rel=2e-3)
    passed, _ = _carried(stranger, [spacing_us * n + 90_000 for n in range(count)], bytes(octets))
    hit = 1 - sum(passed) / count
    assert abs(hit - stranger.hit(octets)) <= 4 * math.sqrt(hit * (1 - hit) / count)


def test_a_longer_frame_is_met_more_often() -> None:
    hits = [Stranger(50_000).hit(octets) for octets in (20, 64, 176, 600)]
    assert hits == sorted(hits)
    assert hits[0] < 0.2 < hits[-1]


def test_one_frame_of_theirs_can_spoil_two_of_ours() -> None:
    # ours touch end to end, 640 us each; theirs last 5632 us, so hits come in runs of at least eight
    passed, theirs = _carried(Stranger(400_000), [10_000 + 640 * n for n in range(60_000)], bytes(20))
    spoiled = "".join(".x"[not p] for p in passed).strip("x").split(".")
    runs = [len(run) for run in spoiled if run]
    assert len(runs) > 40
    assert min(runs) >= 8  # 5632 us cover at least 8 whole frames of 640 us
    assert theirs == []  # and ours have spoiled all of theirs


def test_what_is_heard_of_the_other_network_is_whole_and_its_own() -> None:
    passed, theirs = _carried(Stranger(30_000, rows=2), [100_000 * n for n in range(2000)])
    assert 0 < sum(passed) < 2000
    assert len(theirs) > 2000
    for frame in theirs:
        read = codec.read(frame)
        assert isinstance(read, codec.Frame)
        assert isinstance(read.message, Data)
        assert read.header.network == 0xBEEF
        assert read.message.rows == 2
    numbers = [int.from_bytes(f[10:14], "little") for f in theirs]
    assert numbers == sorted(set(numbers))


def test_what_is_heard_at_once_is_bounded_and_can_be_left_out() -> None:
    passage = Stranger(100).start(Dice(6))
    passage.carry(FRAME, 0)
    assert len([f for _, f in passage.carry(FRAME, 60_000_000) if f != FRAME]) == MOST_HEARD
    _, theirs = _carried(Stranger(30_000, heard=False), [100_000 * n for n in range(500)])
    assert theirs == []


@pytest.mark.parametrize("network", [0xBEEF, 7], ids=["another network", "a rogue with our number"])
def test_no_sample_of_the_other_network_is_ever_taken(network: int) -> None:
    stack: tuple[Impairment, ...] = (CHANNEL, Stranger(40_000, network=network, rate=CHANNEL))
    site = flowing((1, 2), stack, stack, until_us=30_000_000)
    for address in (1, 2):
        assert site.step(address) == "flow"
        numbers = site.numbers(address)
        assert len(numbers) == len(set(numbers))
        assert len(numbers) > 1800  # of 2240 in 28 s: what was hit has been sent again
    for block in site.samples:
        serial = 0x1000 + block.address
        expected = [count_of(serial, block.first + r, c) for r in range(block.rows) for c in range(4)]
        assert block.octets == struct.pack(f"<{len(expected)}i", *expected)


# -- a replayer ----------------------------------------------------------------------------------------


def test_a_replayed_frame_is_the_youngest_that_is_old_enough() -> None:
    passage = Replay(1.0, after_us=2_500, later_us=40).start(Dice(1))
    outs = [passage.carry(bytes([n]), 1000 * n) for n in range(8)]
    assert [len(out) for out in outs] == [1, 1, 1, 2, 2, 2, 2, 2]
    for n, out in enumerate(outs):
        assert out[0] == (1000 * n, bytes([n]))
        if n >= 3:
            assert out[1] == (1000 * n + 40, bytes([n - 3]))


def test_frames_are_replayed_at_their_rate() -> None:
    passage = Replay(0.1, after_us=500).start(Dice(2))
    count = 50_000
    twice = sum(len(passage.carry(b"x", 1000 * n)) == 2 for n in range(count))
    assert abs(twice / count - 0.1) <= 4 * math.sqrt(0.1 * 0.9 / count)


def test_a_replayer_remembers_only_so_much() -> None:
    passage = Replay(1.0, after_us=10_000, memory=3).start(Dice(1))
    outs = [passage.carry(bytes([n]), 1000 * n) for n in range(30)]
    assert all(len(out) == 1 for out in outs)  # what is old enough is forgotten by then


def test_no_replayed_sample_is_taken_twice_and_none_is_lost_by_it() -> None:
    stack: tuple[Impairment, ...] = (Replay(0.5, after_us=300_000), Loss(0.02))
    site = flowing((1, 2), stack, stack, until_us=20_000_000)
    for address in (1, 2):
        assert site.step(address) == "flow"
        numbers = site.numbers(address)
        assert len(numbers) == len(set(numbers))
        assert sorted(numbers)[:1000] == list(range(min(numbers), min(numbers) + 1000))
