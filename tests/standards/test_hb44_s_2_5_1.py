"""HB 44 section 2.20 S.2.5.1: record only when stable within 3 d (vehicle) or 1 d (others) (memory)."""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Record
from tests.host.feed import Rig, Weight

VEHICLE = {"profile": "hb44-iiil-vehicle", "capacity": "60000", "interval": "20"}
OTHER = {"profile": "hb44-iii", "capacity": "3000", "interval": "1", "counts_per_kg": 400.0}


def shaking(size_kg: float) -> Weight:
    """Up and down by size, five times a second: the mean stands still all the while."""
    return lambda t_us: size_kg if (t_us // 100_000) % 2 else -size_kg


@pytest.mark.parametrize(("kind", "d_kg", "band_d"), [(VEHICLE, 20.0, 3.0), (OTHER, 1.0, 1.0)])
def test_a_weight_that_shakes_within_the_band_is_recorded_and_beyond_it_is_not(
    kind: dict[str, object], d_kg: float, band_d: float
) -> None:
    for part, done in ((0.95, True), (1.05, False)):
        it = Rig(**kind)  # type: ignore[arg-type]
        it.put(1_000.0, shaking(part * band_d * d_kg))
        it.wait(3.0)
        assert it.shows.motion is not done
        assert it.ask(Record()).done is done


def test_a_refused_record_takes_no_number() -> None:
    it = Rig()
    it.settle(10_000.0)
    assert it.ask(Record()).recorded is not None
    it.put(20_000.0)
    it.wait(0.2)
    assert (it.ask(Record()).done, it.ask(Record()).reason) == (False, "in motion")
    it.wait(3.0)
    second = it.ask(Record()).recorded
    assert second is not None
    assert (second.number, second.gross_d, second.t_us) == (2, 1_000, it.now_us)


@pytest.mark.parametrize(("kind", "d_kg"), [(VEHICLE, 20.0), (OTHER, 1.0)])
def test_stable_means_stable_for_four_tenths_of_a_second(kind: dict[str, object], d_kg: float) -> None:
    # Canada, C.R.C. 1605 (seen): stable for at least 0.4 s before a weight is registered.
    it = Rig(**kind)  # type: ignore[arg-type]
    it.settle(0.0)
    put_us = it.now_us
    it.put(100 * d_kg)
    shown = it.wait(3.0)
    first_stable = next(i for i in shown if i.gross_d == 100 and not i.motion)
    assert first_stable.t_us - put_us >= 400_000
    assert all(i.motion for i in shown if put_us + 200_000 < i.t_us < put_us + 400_000)
