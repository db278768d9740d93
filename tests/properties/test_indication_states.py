"""Whatever is done to it: nothing recorded in motion, no zero beyond its limits, no figure above the limit.

The truth is kept beside the host: what lay on the scale at every instant.  The limits are written here
from the standards' own figures and not read from the profile.
"""

from __future__ import annotations

import math
from dataclasses import fields
from decimal import Decimal
from typing import ClassVar

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from benchsim.ground.commands import ClearTare, PresetTare, Record, Tare, Zero
from benchsim.ground.readings import Indication, LinkState
from tests.host.feed import Rig

D_KG = 20.0
CAPACITY_KG = 60_000.0
HALF_OF_4_PERCENT_KG = CAPACITY_KG * 0.02  # R 76-1 4.5.1, overall effect, half each way
weights = st.one_of(
    st.integers(-100, 100).map(lambda tenths: tenths * 2.0),
    st.floats(-2_000.0, 70_000.0),
    st.sampled_from(
        [0.0, 1_200.0, 1_210.0, 6_000.0, 6_010.0, 12_010.0, 60_000.0, 60_190.0, 63_000.0, 63_010.0]
    ),
)


class AnyScale(RuleBasedStateMachine):
    """A scale on eight cells to which anything may happen."""

    profile: ClassVar[str]
    most_kg: ClassVar[float]
    band_d: ClassVar[float]
    initial_kg: ClassVar[float]
    stable_for_us: ClassVar[int]

    def __init__(self) -> None:
        super().__init__()
        self.recorded = 0
        self.start_kg: float | None = None

    @initialize(tracking=st.booleans(), initial=st.booleans())
    def switch_on(self, tracking: bool, initial: bool) -> None:
        self.rig = Rig(self.profile, cells=8, zero_tracking=tracking, initial_zero=initial)
        self.rig.wait(0.1)

    @rule(weight_kg=weights, seconds=st.sampled_from([0.1, 0.3, 0.5, 2.0]))
    def put(self, weight_kg: float, seconds: float) -> None:
        self.rig.put(weight_kg)
        self.look(self.rig.wait(seconds))

    @rule(size_d=st.floats(0.1, 5.0), period_ms=st.sampled_from([60, 250, 900]))
    def shake(self, size_d: float, period_ms: int) -> None:
        here_kg = self.true_kg(self.rig.now_us)
        omega = 2 * math.pi / (period_ms * 1e3)
        self.rig.put(here_kg, lambda t_us: size_d * D_KG * math.sin(omega * t_us))
        self.look(self.rig.wait(1.0))

    @rule(rate_d_per_s=st.sampled_from([-40.0, -1.0, 0.3, 2.0, 40.0]))
    def pour(self, rate_d_per_s: float) -> None:
        here_kg, began_us = self.true_kg(self.rig.now_us), self.rig.now_us
        self.rig.put(here_kg, lambda t_us: rate_d_per_s * D_KG * (min(t_us - began_us, 2_000_000) * 1e-6))
        self.look(self.rig.wait(1.5))

    @rule(address=st.sampled_from([1, 2]))
    def lose_a_node(self, address: int) -> None:
        rig = self.rig
        rig.host.link(LinkState(address, "lost", "lost: silent for 1 s", since_us=rig.now_us))
        assert not any(i.shows_figure for i in rig.wait(0.5, drop=lambda f: f.address == address))
        rig.host.link(LinkState(address, "flow", since_us=rig.now_us))
        rig.host.clock(rig.nodes[address - 1].clock(rig.now_us))
        self.look(rig.wait(0.2))

    @rule()
    def zero(self) -> None:
        self.rig.ask(Zero())

    @rule()
    def tare(self) -> None:
        net_before, done = self.rig.shows.net_d, self.rig.ask(Tare()).done
        assert not done or (self.rig.shows.net_d == 0 and self.rig.shows.tare_d > 0) or net_before == 0

    @rule(
        value=st.one_of(
            st.decimals(-100, 70_000, places=1), st.sampled_from([Decimal("NaN"), Decimal("1e99")])
        )
    )
    def preset(self, value: Decimal) -> None:
        done = self.rig.ask(PresetTare(value)).done
        ready = self.rig.shows.valid and not self.rig.shows.initial_zero_error
        assert done == (ready and value.is_finite() and 0 <= value <= 60_000)

    @rule()
    def clear(self) -> None:
        assert self.rig.ask(ClearTare()).done
        assert not self.rig.shows.shows_net

    @rule()
    def record(self) -> None:
        shown, outcome = self.rig.shows, self.rig.ask(Record())
        assert outcome.done == (outcome.recorded is not None)
        if outcome.recorded is None:
            assert outcome.reason
            return
        self.recorded += 1
        recorded = outcome.recorded
        assert recorded.number == self.recorded
        assert shown.shows_figure
        assert not shown.motion
        assert (recorded.gross_d, recorded.tare_d, recorded.net_d) == (
            shown.gross_d,
            shown.tare_d,
            shown.net_d,
        )
        assert recorded.gross_d - recorded.tare_d == recorded.net_d
        assert 0 <= recorded.gross_d * D_KG <= self.most_kg
        # What had surely arrived, and surely belonged to the stretch that is watched, stood within the band.
        stretch = range(shown.t_us - self.stable_for_us, shown.t_us - 204_000, 12_500)
        truth = [self.true_kg(t_us) for t_us in stretch]
        assert max(truth) - min(truth) <= 2 * self.band_d * D_KG + 1.0

    def true_kg(self, t_us: int) -> float:
        return self.rig._weight_kg(t_us)

    def look(self, shown: list[Indication]) -> None:
        for indication in shown:
            self.check(indication)

    @invariant()
    def the_latest_indication_keeps_every_promise(self) -> None:
        if hasattr(self, "rig"):
            self.check(self.rig.shows)

    def check(self, shown: Indication) -> None:
        for field in fields(shown):
            assert type(getattr(shown, field.name)) in (int, bool, str, Decimal), field.name
        assert shown.gross_d - shown.tare_d == shown.net_d
        if shown.shows_figure:
            assert shown.gross_d >= -20
            assert shown.gross_d * D_KG <= self.most_kg
            assert self.most_kg >= shown.tenths_gross_d * D_KG / 10 - D_KG / 2
            self.check_zero(shown)
        else:
            assert (shown.gross_d, shown.tenths_gross_d) == (0, 0)
            assert not shown.centre_of_zero

    def check_zero(self, shown: Indication) -> None:
        """What was taken off, seen from outside: what lay there less what shows."""
        past = [self.true_kg(t_us) for t_us in range(shown.t_us - 900_000, shown.t_us + 1, 12_500)]
        if max(past) - min(past) > 0.01 * D_KG:
            return
        taken_kg = past[-1] - shown.tenths_gross_d * D_KG / 10
        slack_kg = 0.06 * D_KG  # tenths are rounded
        assert abs(taken_kg) <= self.initial_kg + HALF_OF_4_PERCENT_KG + slack_kg
        if not self.rig.parts.initial_zero:
            assert abs(taken_kg) <= HALF_OF_4_PERCENT_KG + slack_kg


class VehicleScale(AnyScale):
    profile = "hb44-iiil-vehicle"
    most_kg = 63_000.0  # S.1.7(a): 105 % of 60 t
    band_d = 3.0  # S.2.5.1
    initial_kg = CAPACITY_KG * 0.20  # S.2.1.5, a load
    stable_for_us = 400_000  # Canada, C.R.C. 1605


class PlatformScale(AnyScale):
    profile = "r76-iii"
    most_kg = 60_180.0  # 4.2.3: Max + 9 e
    band_d = 0.5  # 4.4.2, A.4.12: two neighbouring values
    initial_kg = CAPACITY_KG * 0.10  # 4.5.1, overall effect, half each way
    stable_for_us = 1_000_000


VehicleScale.TestCase.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
PlatformScale.TestCase.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
TestVehicleScale = VehicleScale.TestCase
TestPlatformScale = PlatformScale.TestCase
