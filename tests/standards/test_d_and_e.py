"""Limits that count e where e is not d: R 76-1 3.4.2, 3.5.1 (memory); HB 44 2.20 mixes both (seen)."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from benchsim.rules.profile import load_profile
from tests.host.feed import Rig

D_KG, E_KG = 0.2, 1.0


def rig(counts: str, **changed: Any) -> Rig:
    """Max 3 000 kg, d = 0.2 kg, e = 1 kg; R 76's limits counting what is asked for."""
    rules = replace(load_profile("r76-iii"), limits_count_in=counts)
    return Rig(
        "r76-iii", rules=rules, capacity="3000", interval="0.2", counts_per_kg=4_000.0,
        verification_interval=Decimal("1"), **changed,
    )  # fmt: skip


@pytest.mark.parametrize(("counts", "unit_kg"), [("e", E_KG), ("d", D_KG)])
def test_r76_4_2_3_the_figure_ends_9_e_above_max(counts: str, unit_kg: float) -> None:
    assert not rig(counts).settle(3_000.0 + 9 * unit_kg).overload
    assert rig(counts).settle(3_000.0 + 9 * unit_kg + D_KG).overload


@pytest.mark.parametrize(("counts", "unit_kg"), [("e", E_KG), ("d", D_KG)])
def test_r76_4_5_5_centre_of_zero_lights_within_a_quarter_e(counts: str, unit_kg: float) -> None:
    assert rig(counts).settle(0.24 * unit_kg).centre_of_zero
    assert not rig(counts).settle(0.26 * unit_kg).centre_of_zero


@pytest.mark.parametrize(("counts", "unit_kg"), [("e", E_KG), ("d", D_KG)])
def test_r76_4_4_2_the_band_of_equilibrium_is_one_e_wide(counts: str, unit_kg: float) -> None:
    for part, stands in ((0.48, True), (0.52, False)):
        it = rig(counts)
        it.put(1_000.0, lambda t_us, size=part * unit_kg: size if (t_us // 100_000) % 2 else -size)  # type: ignore[misc]
        assert it.wait(3.0)[-1].motion is not stands


def test_r76_4_5_7_tracking_counts_d_all_the_same() -> None:
    it = rig("e", zero_tracking=True)
    it.settle(0.0)
    assert it.settle(0.12, seconds=12.0).tenths_gross_d == 6
    assert it.settle(0.08, seconds=12.0).tenths_gross_d == 0


def test_without_an_e_of_its_own_a_scale_counts_d() -> None:
    rules = load_profile("r76-iii")
    assert rules.limits_count_in == "e"
    it = Rig("r76-iii", capacity="3000", interval="0.2", counts_per_kg=4_000.0)
    assert it.settle(3_000.0 + 9 * D_KG + D_KG).overload
