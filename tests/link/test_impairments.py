"""Impairments against their closed forms; one shared check for every member, found by its file's name."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import FrozenInstanceError, dataclass, fields

import pytest
from scipy.stats import geom

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice, Streams
from benchsim.link.channel import Channel
from benchsim.link.impairment import Impairment, Passage, catalogue
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.outage import Outage
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.reorder import Reorder
from benchsim.link.impairments.replay import Replay
from benchsim.link.impairments.stranger import Stranger
from benchsim.link.runs import NEVER, Runs

FRAMES = 200_000


def _passed(impairment: Impairment, count: int = FRAMES, seed: int = 5, size: int = 20) -> list[bool]:
    """Which of many equal frames came out whole."""
    carry, frame = impairment.start(Dice(seed)).carry, bytes(size)
    return [list(carry(frame, t)) == [(t, frame)] for t in range(count)]


def _runs(passed: Sequence[bool]) -> list[int]:
    """Lengths of the runs of losses."""
    runs, length = [], 0
    for one in passed:
        if not one:
            length += 1
        elif length:
            runs.append(length)
            length = 0
    return runs


def _near(found: float, expected: float, count: float, correlation: float = 0.0) -> bool:
    """Within four standard errors of a share; correlation: of neighbours, which makes errors larger."""
    spread = math.sqrt(expected * (1 - expected) / count * (1 + correlation) / (1 - correlation))
    return abs(found - expected) <= 4 * spread


# -- every member --------------------------------------------------------------------------------------

MEMBERS = catalogue()


def test_the_catalogue_is_the_folder() -> None:
    assert set(MEMBERS) == {
        "bit-errors", "burst", "delay", "duplicate", "loss", "outage", "rate", "reorder", "replay",
        "stranger",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(MEMBERS))
def test_every_impairment_keeps_the_rules_of_one(name: str) -> None:
    kind = MEMBERS[name]
    one = kind()
    assert isinstance(one, Impairment)
    assert one == kind()
    with pytest.raises(FrozenInstanceError):
        setattr(one, fields(kind)[0].name, 1)
    first, again = one.start(Dice(3)), one.start(Dice(3))
    sent: set[bytes] = set()
    for t_us in range(0, 300_000, 100):
        frame = t_us.to_bytes(4, "little") * 30
        out = list(first.carry(frame, t_us))
        assert out == list(again.carry(frame, t_us))
        sent.add(frame)
        assert all(arrival_us >= t_us for arrival_us, _ in out)
        if name == "bit-errors":
            assert [len(heard) for _, heard in out] == [len(frame)]
        elif name != "stranger":  # whose frames nobody here has sent
            assert all(heard == frame or (name == "replay" and heard in sent) for _, heard in out)


@pytest.mark.parametrize(
    "nothing",
    [Loss(0.0), Burst(0.0, 1.0), Delay(0, 0), Duplicate(0.0), Reorder(0.0), BitErrors(0.0), Replay(0.0)],
)
def test_an_impairment_of_size_zero_changes_nothing(nothing: Impairment) -> None:
    assert all(_passed(nothing, 2000))


HOLDERS: list[Impairment] = [Reorder(), Duplicate(), Replay(), Delay(0, 5_000, overtaking=True)]


@pytest.mark.parametrize("holder", HOLDERS, ids=lambda i: type(i).__name__)
@pytest.mark.parametrize("first", [Rate(), Stranger()], ids=lambda i: type(i).__name__)
def test_what_holds_frames_back_stands_behind_what_they_wait_in(
    holder: Impairment, first: Impairment
) -> None:
    names = [type(i).__name__.lower() for i in (first, holder)]
    wrong = f"{names[1]} before {names[0]} in a stack; the other way round: {names[0]}, {names[1]}"
    with pytest.raises(BadInput, match=wrong):
        Channel((holder, Loss(), first), Streams("x"))
    channel = Channel((first, Loss(0.0), holder), Streams("x"))
    with pytest.raises(BadInput, match=wrong):
        channel.change((holder, first))
    assert channel.stack == (first, Loss(0.0), holder)


def test_a_delay_that_keeps_the_order_may_stand_before_a_rate() -> None:
    Channel((Delay(4_000, 9_000), Rate()), Streams("x"))


@pytest.mark.parametrize("all_of_it", [Loss(1.0), Outage(), BitErrors(1.0), Burst(1.0, 0.0)])
def test_an_impairment_of_full_size_lets_nothing_through_whole(all_of_it: Impairment) -> None:
    assert not any(_passed(all_of_it, 500))


# -- closed forms --------------------------------------------------------------------------------------


@pytest.mark.parametrize("probability", [0.001, 0.02, 0.3])
def test_independent_loss_and_its_runs(probability: float) -> None:
    passed = _passed(Loss(probability))
    assert _near(1 - sum(passed) / FRAMES, probability, FRAMES)
    runs = _runs(passed)
    expected = 1 / (1 - probability)  # a geometric run
    spread = math.sqrt(probability) / (1 - probability) / math.sqrt(len(runs))
    assert abs(sum(runs) / len(runs) - expected) <= 4 * spread


def test_gilbert_loss_of_3_846_percent_in_runs_of_4() -> None:
    # p / (p + r) and 1 / r (Gilbert 1960); values worked out by hand: 0.01 / 0.26, 1 / 0.25
    burst = Burst(0.01, 0.25)
    assert burst.loss == pytest.approx(0.03846, abs=5e-6)
    passed = _passed(burst)
    assert _near(1 - sum(passed) / FRAMES, 0.038462, FRAMES, correlation=1 - 0.01 - 0.25)
    runs = _runs(passed)
    assert abs(sum(runs) / len(runs) - 4.0) <= 4 * math.sqrt(12) / math.sqrt(len(runs))


def test_elliott_loss_of_6_455_percent_with_9_091_percent_bad() -> None:
    burst = Burst(0.02, 0.2, 0.3, 0.999)
    assert burst.bad_share == pytest.approx(0.09091, abs=5e-6)
    assert burst.loss == pytest.approx(0.06455, abs=5e-6)
    passed = _passed(burst)
    assert _near(1 - sum(passed) / FRAMES, 0.064545, FRAMES, correlation=1 - 0.02 - 0.2)


def test_the_mean_run_when_some_frames_pass_in_bad() -> None:
    # k = 1: 1 / (1 - (1 - r)(1 - h)) = 2.273 for r 0.2, h 0.3
    runs = _runs(_passed(Burst(0.02, 0.2, 0.3, 1.0)))
    q = (1 - 0.2) * (1 - 0.3)
    assert 1 / (1 - q) == pytest.approx(2.273, abs=5e-4)
    spread = math.sqrt(q) / (1 - q) / math.sqrt(len(runs))
    assert abs(sum(runs) / len(runs) - 1 / (1 - q)) <= 4 * spread


def test_neighbours_of_burst_loss_are_correlated_by_1_minus_p_minus_r() -> None:
    lost = [not p for p in _passed(Burst(0.02, 0.2))]
    mean = sum(lost) / FRAMES
    both = sum(a and b for a, b in itertools.pairwise(lost)) / (FRAMES - 1)
    assert (both - mean**2) / (mean - mean**2) == pytest.approx(0.78, abs=0.02)


@pytest.mark.parametrize(("rate", "size"), [(1e-3, 20), (1.61527e-4, 20), (1e-4, 176), (2e-6, 176)])
def test_bit_errors_hit_frames_as_often_as_they_must(rate: float, size: int) -> None:
    expected = 1 - (1 - rate) ** (8 * size)
    assert BitErrors(rate).frame_error(size) == pytest.approx(expected, rel=1e-9)
    passed = _passed(BitErrors(rate), 60_000, size=size)
    assert _near(1 - sum(passed) / 60_000, expected, 60_000)


@pytest.mark.parametrize(
    ("rate", "error"), [(5.19700e-3, 0.565556), (1.14894e-3, 0.168012), (1.61527e-4, 2.55152e-2)]
)
def test_frame_error_of_20_octets_at_the_rates_of_a_spread_radio(rate: float, error: float) -> None:
    # 1 - (1 - BER)^(8 L); bit error rates of O-QPSK DSSS at -2, -1, 0 dB (IEEE 802.15.4-2006, E.4.1.7)
    assert BitErrors(rate).frame_error(20) == pytest.approx(error, rel=2e-5)


def test_bits_are_inverted_one_by_one_at_the_rate() -> None:
    passage, rate, frames = BitErrors(0.01).start(Dice(2)), 0.01, 3000
    flips = sum(int.from_bytes(passage.carry(bytes(50), 0)[0][1], "big").bit_count() for _ in range(frames))
    assert _near(flips / (frames * 400), rate, frames * 400)


@pytest.mark.parametrize("probability", [0.5, 0.03, 1e-4])
def test_runs_are_geometric_as_scipy_has_them(probability: float) -> None:
    runs = Runs(probability, Dice(3))
    count = 20_000
    lengths = sorted(runs.next() for _ in range(count))
    expected = geom(probability, loc=-1)  # good ones before the first bad one
    for length in {lengths[count // 10 * tenth] for tenth in range(1, 10)}:
        found = sum(n <= length for n in lengths) / count
        assert _near(found, expected.cdf(length), count)
    spread = expected.std() / math.sqrt(count)
    assert abs(sum(lengths) / count - expected.mean()) <= 4 * spread


def test_runs_of_what_never_and_what_always_happens() -> None:
    assert Runs(0.0, Dice(1)).next() == NEVER
    assert {Runs(1.0, Dice(1)).next() for _ in range(50)} == {0}


def test_jitter_is_spread_evenly_from_delay_on() -> None:
    passage = Delay(4_000, 10_000, overtaking=True).start(Dice(4))
    waits = [passage.carry(b"x", t)[0][0] - t for t in range(0, 20_000_000, 1000)]
    count = len(waits)
    assert min(waits) >= 4_000
    assert max(waits) <= 14_000
    assert abs(sum(waits) / count - 9_000) <= 4 * 10_000 / math.sqrt(12 * count)
    for tenth in range(10):
        share = sum(4_000 + 1_000 * tenth <= w < 5_000 + 1_000 * tenth for w in waits) / count
        assert _near(share, 0.1, count)


def test_delayed_frames_keep_their_order_unless_they_may_overtake() -> None:
    for overtaking in (False, True):
        passage = Delay(1_000, 50_000, overtaking).start(Dice(4))
        arrivals = [passage.carry(b"x", t)[0][0] for t in range(0, 2_000_000, 1000)]
        assert (arrivals == sorted(arrivals)) is not overtaking


def test_duplicates_come_at_their_rate_and_later() -> None:
    passage = Duplicate(0.1, 700).start(Dice(8))
    twice = 0
    for t in range(50_000):
        out = passage.carry(b"x", t)
        assert out[0] == (t, b"x")
        if len(out) == 2:
            assert out[1] == (t + 700, b"x")
            twice += 1
    assert _near(twice / 50_000, 0.1, 50_000)


def test_held_frames_are_overtaken_by_those_within_their_time() -> None:
    passage = Reorder(0.05, 2_500).start(Dice(8))
    arrivals = [passage.carry(b"x", t)[0][0] for t in range(0, 50_000_000, 1000)]
    held = [a - 1000 * i for i, a in enumerate(arrivals)]
    assert set(held) == {0, 2_500}
    assert _near(held.count(2_500) / len(held), 0.05, len(held))


def test_nothing_passes_in_the_windows_of_an_outage() -> None:
    passage = Outage(((1_000, 2_000), (5_000, 5_001))).start(Dice(1))
    gone = [t for t in range(0, 6_000) if not passage.carry(b"x", t)]
    assert gone == [*range(1_000, 2_000), 5_000]


# -- stacks --------------------------------------------------------------------------------------------


def test_a_channel_without_impairments_passes_at_once() -> None:
    assert Channel((), Streams(1)).carry(b"frame", 5) == [(5, b"frame")]


@dataclass(frozen=True)
class Steady:
    """For stacks worked out by hand: copies of each frame, each so much later than the one before."""

    copies: int
    later_us: int

    def start(self, dice: Dice) -> Passage:
        return _Steadily(self)


@dataclass
class _Steadily:
    steady: Steady

    def carry(self, frame: bytes, t_us: int) -> list[tuple[int, bytes]]:
        late = [(t_us + n * self.steady.later_us, frame) for n in range(self.steady.copies)]
        return late[::-1]  # a channel puts them in order of time


def test_a_stack_is_its_members_one_after_the_other() -> None:
    twice_then_thrice = Channel((Steady(2, 10), Steady(3, 4), Delay(100)), Streams(1))
    # by hand: copies at 0 and 10, each at +0, +4 and +8, each 100 later
    assert [t for t, _ in twice_then_thrice.carry(b"f", 0)] == [100, 104, 108, 110, 114, 118]
    assert [t for t, _ in twice_then_thrice.carry(b"f", 1000)] == [1100, 1104, 1108, 1110, 1114, 1118]
    assert Channel((Steady(2, 10), Outage(((5, 20),))), Streams(1)).carry(b"f", 0) == [(0, b"f")]
    assert Channel((Outage(((5, 20),)), Steady(2, 10)), Streams(1)).carry(b"f", 0) == [(0, b"f"), (10, b"f")]
    assert Channel((Steady(0, 0), Steady(3, 4)), Streams(1)).carry(b"f", 0) == []


@pytest.mark.parametrize("jitter_us", [0, 3_000])
def test_what_was_held_back_is_overtaken_also_before_a_delay(jitter_us: int) -> None:
    """A frame held for 150 ms is passed by the twelve sent within 12.5 ms each; all others wait no longer."""
    channel = Channel((Reorder(0.1, 150_000), Delay(4_000, jitter_us)), Streams("q"))
    waits: list[int] = []
    arrivals: list[tuple[int, int]] = []
    for n in range(2000):
        ((t_us, _),) = channel.carry(b"f", n * 12_500)
        waits.append(t_us - n * 12_500)
        arrivals.append((t_us, n))
    held = [w for w in waits if w >= 154_000]
    assert _near(len(held) / len(waits), 0.1, len(waits))
    assert all(4_000 <= w <= 4_000 + 2 * jitter_us for w in waits if w < 154_000)
    order = [n for _, n in sorted(arrivals)]
    assert sum(a > b for a, b in itertools.pairwise(order)) >= 150


def test_frames_handed_over_late_keep_their_place_in_a_delay() -> None:
    passage = Delay(1_000, 50_000).start(Dice(4))
    entered = [t + (40_000 if n % 7 == 0 else 0) for n, t in enumerate(range(0, 4_000_000, 5_000))]
    left = [passage.carry(b"x", t)[0][0] for t in entered]
    in_order = [out for _, out in sorted(zip(entered, left, strict=True))]
    assert in_order == sorted(in_order)
    assert all(out >= t + 1_000 for t, out in zip(entered, left, strict=True))


def test_what_stays_in_the_stack_keeps_its_state_and_its_dice() -> None:
    burst = Burst(0.05, 0.1)
    alone, changed = Channel((burst,), Streams(9)), Channel((burst,), Streams(9))
    seen = []
    for t_us in range(3000):
        if t_us == 500:
            changed.change((burst, Delay(7)))
        if t_us == 900:
            changed.change((Delay(7), burst))
        if t_us == 1200:
            changed.change((burst,))
        seen.append(bool(alone.carry(b"f", t_us)) == bool(changed.carry(b"f", t_us)))
    assert all(seen)


def test_an_impairment_that_comes_back_does_not_draw_the_same_again() -> None:
    channel = Channel((Loss(0.5),), Streams(9))
    first = [bool(channel.carry(b"f", t)) for t in range(200)]
    channel.change(())
    channel.change((Loss(0.5),))
    assert [bool(channel.carry(b"f", t)) for t in range(200)] != first


def test_two_equal_impairments_draw_apart() -> None:
    channel = Channel((Loss(0.5), Loss(0.5)), Streams(9))
    passed = sum(bool(channel.carry(b"f", t)) for t in range(20_000))
    assert _near(passed / 20_000, 0.25, 20_000)
