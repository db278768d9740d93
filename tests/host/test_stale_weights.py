"""A weight of a while ago is no weight of now: when samples stay away, nothing is stable any more.

Truth stands beside each test: what lay on the deck and when.  The greatest age, 0.5 s, is an own choice:
common practice, no source.
"""

from __future__ import annotations

import dataclasses

import pytest

from benchsim.ground.commands import InstrumentCommand, Record, Tare, Zero
from benchsim.ground.readings import Indication, Samples
from benchsim.host.host import Host
from benchsim.rules.profile import load_profile
from tests.host.feed import Node, Rig, flow, host, run

OLDEST_US = 500_000
PROFILES = ["hb44-iiil-vehicle", "hb44-iii", "r76-iii"]


def of_node_2(frame: Samples) -> bool:
    return frame.address == 2


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("waiting_us", [1_000_000, 5_000_000])
def test_one_node_dies_as_the_load_leaves_and_the_other_s_first_samples_end_the_weight(
    profile: str, waiting_us: int
) -> None:
    rig = Rig(profile, cells=8, waiting_us=waiting_us)
    assert not rig.settle(20_000.0).motion
    rig.put(0.0)
    rig.wait(0.1, drop=of_node_2)  # a frame takes 0.1 s to fill and 4 ms to come
    for _ in range(waiting_us // 100_000 + 5):
        shown = rig.wait(0.1, drop=of_node_2)[-1]
        assert shown.motion
        assert not rig.ask(Record()).done


def one_sided(profile: str, **changed: object) -> tuple[Host, list[Node], list[float]]:
    """Two nodes; all that lies on the deck lies on the second one's cells; what it is can be set."""
    on_deck = [20_000.0]
    nodes = [
        Node(1, lambda _t: 0.0, share=0.5),
        Node(2, lambda _t: on_deck[0], share=1.0),
    ]
    it = host(profile, cells=8, waiting_us=5_000_000, **changed)
    flow(it, *nodes)
    return it, nodes, on_deck


@pytest.mark.parametrize("profile", PROFILES)
def test_a_node_that_stays_away_ends_stability_though_no_other_node_notices(profile: str) -> None:
    it, nodes, on_deck = one_sided(profile)
    assert not run(it, nodes, 3_000_000)[-1].indication.motion
    on_deck[0] = 0.0
    shown = [t.indication for t in run(it, nodes, 6_000_000, drop=of_node_2)]
    # A frame of 8 samples takes 0.1 s; 0.2 s later the next one is late.
    assert [i.motion for i in shown if i.valid] == [i.t_us > 3_300_000 - 4_000 for i in shown if i.valid]
    assert it.command(Record(), 6_000_000).reason == "the newest samples are too old"


@pytest.mark.parametrize("profile", PROFILES)
def test_with_long_frames_no_weight_older_than_the_limit_is_recorded(profile: str) -> None:
    """k = 80 at 80 Hz on a link without a fault: in the second half of each second Record is refused."""
    rig = Rig(profile, rows=80, update_hz=50)
    rig.put(20_000.0)
    rig.wait(5.0)
    rig.put(0.0)
    began_us, done, reasons = rig.now_us, [], set()
    while rig.now_us < began_us + 5_000_000:
        newest_us = (rig.now_us + 20_000 - 4_000) // 1_000_000 * 1_000_000
        shown = rig.wait(0.02)[-1]
        assert shown.motion or shown.t_us - newest_us <= OLDEST_US  # what a client may print by itself
        outcome = rig.ask(Record())
        if outcome.recorded is None:
            reasons.add(outcome.reason)
        elif outcome.recorded.gross_d:
            done.append(rig.now_us - began_us)
    assert 0 < max(done) <= OLDEST_US
    assert reasons >= {"the newest samples are too old"}
    assert rig.shows.gross_d == 0


@pytest.mark.parametrize("command", [Record(), Tare(), Zero()])
def test_a_command_between_two_updates_judges_the_age_by_its_own_time(command: InstrumentCommand) -> None:
    for later_us, done in ((480_000, True), (520_000, False)):
        rig = Rig(update_hz=1)
        rig.settle(200.0, seconds=4.0)
        newest_us = 3_900_000  # of a frame that had come by 4 s
        outcome = rig.host.command(command, newest_us + later_us)
        assert outcome.done is done
        assert outcome.reason == ("" if done else "the newest samples are too old")
        if command != Record():
            assert rig.shows.motion is not done


def test_the_greatest_age_and_the_lateness_are_the_profile_s() -> None:
    rules = dataclasses.replace(load_profile("hb44-iii"), oldest_us=900_000, late_after_us=700_000)
    rig = Rig("hb44-iii", rules=rules, cells=8, update_hz=50)
    rig.settle(20_000.0)
    stopped_us = rig.now_us
    shown = rig.wait(1.0, drop=lambda _frame: True)
    last = max(i.t_us for i in shown if not i.motion)
    # The last frame ended at 2.9 s: 0.1 s to fill one and 0.7 s.
    assert last - (stopped_us - 100_000) == 800_000


def test_a_link_that_is_as_it_should_be_never_looks_late() -> None:
    rig = Rig("r76-iii", cells=8, update_hz=50)
    for node, delay_us in zip(rig.nodes, (2_000, 90_000), strict=True):
        node.delay_us = delay_us
    rig.settle(1_000.0)
    assert not any(i.motion for i in rig.wait(5.0))


def test_a_healthy_node_s_samples_that_run_ahead_stay_within_the_band() -> None:
    """Node 2's frames come 60 ms after node 1's: what node 1 has sent ahead is no motion while it stands."""
    rig = Rig(cells=8, update_hz=50)
    rig.nodes[1].delay_us = 64_000
    rig.put(20_000.0, lambda t_us: 40.0 if (t_us // 50_000) % 2 else -40.0)
    rig.wait(2.0)
    shown: list[Indication] = rig.wait(3.0)
    assert not any(i.motion for i in shown)
    changed_us = rig.now_us
    rig.put(20_200.0)
    moved = next(i.t_us for i in rig.wait(0.5) if i.motion)
    assert moved - changed_us <= 124_000  # node 1's first frame, not node 2's
