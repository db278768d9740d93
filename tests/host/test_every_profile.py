"""The host weighs under every shipped rule profile: what one of them leaves open must not stop it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground.commands import Record, Tare, Zero
from benchsim.rules.profile import load_profile, profile_names
from benchsim.rules.tables import check_intervals
from tests.host.feed import Rig


@pytest.mark.parametrize("name", profile_names())
def test_a_scale_of_the_class_weighs_zeroes_tares_and_records(name: str) -> None:
    rules = load_profile(name)
    d_kg = max(rules.smallest_interval_kg, Decimal("0.001"))
    max_d = 2 * rules.n_min_of(d_kg) if rules.n_max is None or rules.n_max >= 2 * rules.n_min else rules.n_max
    assert check_intervals(max_d * d_kg, d_kg, rules) == []
    it = Rig(name, capacity=str(max_d * d_kg), interval=str(d_kg), counts_per_kg=float(400 / d_kg))
    assert it.settle(0.0).centre_of_zero
    assert it.ask(Zero()).done
    load_d = min(1_000, max_d // 2)
    assert it.settle(load_d * float(d_kg)).gross_d == load_d
    assert it.ask(Record()).done
    assert it.ask(Tare()).done
    assert (it.wait(0.2)[-1].net_d, it.shows.tare_d) == (0, load_d)
    over = rules.overload_limit_d(max_d)
    assert it.settle((over + 2) * float(d_kg)).overload
