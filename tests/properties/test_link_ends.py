"""Both ends of the node link through whatever hypothesis can think of, their clocks apart by up to 200 ppm.

Never a sample that was not sent, never one twice in a session or long after its time, never two hosts on one
node, never a secret in what is sent or told, no exception; and once the link heals, all flow again within
the time that the specification states.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from benchsim.ground.randomness import Streams
from benchsim.link.hub import Hub
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.burst import Burst
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.loss import Loss
from benchsim.link.impairments.outage import Outage
from benchsim.link.impairments.reorder import Reorder
from benchsim.link.limits import ABSENT_PAUSE_US, EXCHANGE_LIFE_US
from benchsim.link.node import NodeEnd
from benchsim.link.parts import LinkSettings
from benchsim.link.steps import Reason, Step
from tests.link.meddling import OTHER_HOST, Meddler
from tests.link.secrets import Secrets
from tests.link.site import KEY, PERIOD_US, Clock, Site, count_of, host_card, node_card, site

ADDRESSES = (1, 2)
ROUND_TRIP_US = 50_000
OTHER_KEY = bytes(range(16, 32))
STALE_US = 800_000  # three impairments of a stack, each late by its most, and a frame's waiting


SHARES = st.sampled_from([0.02, 0.2, 0.6])
KIND = st.one_of(
    SHARES.map(Loss),
    SHARES.map(lambda p: Burst(p, 0.2)),
    SHARES.map(lambda p: Delay(2_000, int(p * 200_000), overtaking=True)),
    SHARES.map(Duplicate),
    SHARES.map(Reorder),
    st.sampled_from([1e-5, 1e-4, 1e-3]).map(BitErrors),
    st.just(Outage()),
)
DRIFT = st.integers(-100, 100)
TIMES = st.sampled_from([20_000, 170_000, 900_000, 1_700_000, 5_000_000])
NETWORK, HIS_KEY = st.sampled_from([7, 7, 8]), st.sampled_from([KEY, KEY, OTHER_KEY])
STACK = st.lists(KIND, max_size=3).map(tuple)


class Faithful(NodeEnd):
    """A node that may go from one host to another only by being let go or recommissioned between."""

    def __setattr__(self, name: str, value: object) -> None:
        if name == "bound_host":
            bound = getattr(self, "bound_host", None)
            assert bound is None or value in (None, bound), f"taken from {bound} by {value}"
        super().__setattr__(name, value)


class Ends(RuleBasedStateMachine):
    """Two nodes and their host."""

    def __init__(self) -> None:
        super().__init__()
        self.site: Site
        self.looked = 0
        self.seen: set[tuple[int, int, int]] = set()
        self.hostile: set[int] = set()
        self.bad: set[int] = set()
        self.asked = set(ADDRESSES)
        self.hosts = 0

    @initialize(k=st.sampled_from([1, 8, 13]), drift=st.tuples(DRIFT, DRIFT))
    def begin(self, k: int, drift: tuple[int, int]) -> None:
        self.secrets = Secrets()
        self.settings = LinkSettings(samples_per_frame=k)
        self.site = site(ADDRESSES, settings=self.settings)
        for address, ppm in zip(ADDRESSES, drift, strict=True):
            card = node_card(address, buffer_samples=200)
            self.site.add(card, clock=Clock(ppm, 100 * address)).end.__class__ = Faithful
        self.site.hub.pair(0, 0)
        self._run(500_000)

    def _run(self, for_us: int) -> None:
        """Walk on in small pieces, so that each sample is looked at in the session it came in."""
        end_us = self.site.queue.now_us + for_us
        while self.site.queue.now_us < end_us:
            self.site.run(min(end_us, self.site.queue.now_us + 50_000))
            self._look()
            self._look_at_hosts()
        self.secrets.look(self.site)

    def _look(self) -> None:
        self.asked -= {s.address for s in self.site.hub.seats.values() if s.step is Step.FLOW}
        poor = {s.address for s in self.site.hub.seats.values() if s.state.reason == Reason.POOR}
        assert poor <= self.bad, "a trial failed over a link that lost nothing"
        self.asked |= poor
        for samples in self.site.samples[self.looked :]:
            watch = self.site.hub.seats[samples.address].watch
            session = watch.session.number if watch else 0
            rows = np.frombuffer(samples.octets, "<i4").reshape(samples.rows, samples.channels)
            for n, row in enumerate(rows.tolist(), samples.first):
                serial = 0x1000 + samples.address
                assert row == [count_of(serial, n, c) for c in range(samples.channels)]
                assert (samples.address, session, n) not in self.seen
                self.seen.add((samples.address, session, n))
            clock = self.site.places[samples.address - 1].clock
            assert samples.node_t_us == clock.shows_us(clock.complete_us(samples.first))
            late_us = samples.arrived_us - clock.complete_us(samples.first + samples.rows - 1)
            assert late_us >= 0  # never before it was
            assert samples.resent or late_us <= STALE_US
            assert samples.resent or samples.first % self.settings.samples_per_frame == 0
        self.looked = len(self.site.samples)

    def _look_at_hosts(self) -> None:
        """No node is in a session with two hosts, and none with a host that has not its key and network."""
        rivals = self.site.rivals
        assert {s.address for rival, s in self.site.theirs if rival.card.key != KEY} == set()
        for hub in rivals:
            for address, seat in hub.seats.items():
                ours, theirs = self.site.hub.seats[address].watch, seat.watch
                if ours is not None and theirs is not None:
                    assert ours.session.secret != theirs.session.secret
                if hub.card.key != KEY or hub.card.network != 7:
                    assert theirs is None

    @rule(at=st.sampled_from([0, 1]), up=STACK, down=STACK, then_us=TIMES)
    def the_medium_changes(
        self, at: int, up: tuple[Impairment, ...], down: tuple[Impairment, ...], then_us: int
    ) -> None:
        self.bad.add(ADDRESSES[at])
        self.site.places[at].up.change(up)
        self.site.places[at].down.change(down)
        self._run(then_us)

    @rule(at=st.sampled_from([0, 1]), share=SHARES, then_us=TIMES)
    def somebody_meddles(self, at: int, share: float, then_us: int) -> None:
        self.hostile.add(ADDRESSES[at])
        self.site.places[at].up.change((Meddler(share),))
        self.site.places[at].down.change((Meddler(share),))
        self._run(then_us)

    @rule(at=st.sampled_from([0, 1]), then_us=TIMES)
    def a_node_restarts(self, at: int, then_us: int) -> None:
        self.site.places[at].end.restart(self.site.queue.now_us)
        self._run(then_us)

    @rule(at=st.sampled_from([0, 1]), then_us=TIMES)
    def a_node_is_recommissioned(self, at: int, then_us: int) -> None:
        self.site.places[at].end.recommission()
        self._run(then_us)

    @rule(then_us=TIMES)
    def the_host_restarts(self, then_us: int) -> None:
        self.hosts += 1
        self.site.hub = Hub(self.site.hub.card, Streams(f"host {self.hosts}").dice("hub"))
        self.asked = set(ADDRESSES)
        self.site.hub.pair(0, self.site.queue.now_us)
        self._run(then_us)

    @rule(address=st.sampled_from([0, 1, 2]), network=NETWORK, key=HIS_KEY, then_us=TIMES)
    def another_host_asks_to_pair(self, address: int, network: int, key: bytes, then_us: int) -> None:
        if not self.site.rivals:
            self.hosts += 1
            card = host_card(ADDRESSES, host_id=OTHER_HOST, network=network, key=key)
            self.site.rivals = [Hub(card, Streams(f"rival {self.hosts}").dice("hub"))]
        self.site.rivals[0].pair(address, self.site.queue.now_us)
        self._run(then_us)

    @rule(address=st.sampled_from([0, 1, 2]), then_us=TIMES)
    def somebody_asks_to_pair(self, address: int, then_us: int) -> None:
        self.asked |= {address} if address else set(ADDRESSES)
        self.site.hub.pair(address, self.site.queue.now_us)
        self._run(then_us)

    @rule(address=st.sampled_from(ADDRESSES), then_us=TIMES)
    def somebody_lets_a_node_go(self, address: int, then_us: int) -> None:
        self.asked.add(address)
        self.site.hub.release(address, self.site.queue.now_us)
        self._run(then_us)

    @rule()
    def the_link_heals(self) -> None:
        for place in self.site.places:
            place.up.change(())
            place.down.change(())
        if (
            self.hostile or self.site.rivals
        ):  # a forged or another host's seek may keep a node busy for so long
            by_hand = set(ADDRESSES) if self.site.rivals else self.hostile
            self.site.rivals = []
            self._run(EXCHANGE_LIFE_US + self.settings.offer_window_us)
            self.asked |= by_hand
            self.hostile = set()
        hub, now_us = self.site.hub, self.site.queue.now_us
        for seat, place in zip(hub.seats.values(), self.site.places, strict=True):
            if place.end.bound_host == OTHER_HOST:
                place.end.recommission()
            if seat.address in self.bad and seat.watch is not None and seat.watch.trial is not None:
                hub.pair(seat.address, now_us)  # what was lost so far counts: the trial may rightly fail
            elif seat.address in self.asked:
                if seat.step is not Step.FLOW:
                    hub.pair(seat.address, now_us)
            else:  # it has flowed and nobody asked for anything else: it must come back by itself
                assert seat.step in (Step.FLOW, Step.LOST, Step.SEEK, Step.PROVE), seat.state
        self.bad.clear()
        self._run(self._stated_us())
        for seat, place in zip(hub.seats.values(), self.site.places, strict=True):
            assert seat.step is Step.FLOW, seat.state
            assert place.end.step is Step.FLOW
            assert place.end.session is not None
            assert seat.watch is not None
            ours, theirs = seat.watch.session, place.end.session
            assert (theirs.number, theirs.epoch) == (ours.number, ours.epoch)
        before = len(self.site.samples)
        self._run(4 * self.settings.samples_per_frame * PERIOD_US)
        assert {s.address for s in self.site.samples[before:]} == set(ADDRESSES)

    def _stated_us(self) -> int:
        s = self.settings
        longest = max(s.liveness_us, s.answer_timeout_us + ABSENT_PAUSE_US)
        return longest + s.offer_window_us + 2 * s.samples_per_frame * PERIOD_US + 4 * ROUND_TRIP_US

    @invariant()
    def a_node_that_flows_is_bound_to_a_host(self) -> None:
        if hasattr(self, "site"):
            for place in self.site.places:
                if place.end.step is Step.FLOW:
                    assert place.end.bound_host in (self.site.hub.card.host_id, OTHER_HOST)

    def teardown(self) -> None:
        if hasattr(self, "site"):
            self.the_link_heals()


Ends.TestCase.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)
TestEnds: Any = Ends.TestCase
