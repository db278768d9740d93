"""HB 44 section 2.20 S.2.1.3.2: the most that may be rezeroed at once; S.2.1.5: initial zero (memory)."""

from __future__ import annotations

import pytest

from tests.host.feed import Rig

Kind = dict[str, object]
VEHICLE: Kind = {"profile": "hb44-iiil-vehicle", "capacity": "60000", "interval": "20"}
OTHER: Kind = {"profile": "hb44-iii", "capacity": "3000", "interval": "1", "counts_per_kg": 400.0}


def rig(kind: Kind, **changed: object) -> Rig:
    return Rig(**(kind | {"zero_tracking": True} | changed))  # type: ignore[arg-type]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("kind", "d_kg", "most_d"), [(VEHICLE, 20.0, 3.0), (OTHER, 1.0, 0.5)])
def test_a_load_within_the_limit_may_be_rezeroed_and_one_above_never_is(
    kind: Kind, d_kg: float, most_d: float, sign: int
) -> None:
    it = rig(kind)
    it.settle(0.0)
    assert it.settle(sign * most_d * d_kg, seconds=20.0).tenths_gross_d == 0
    it = rig(kind)
    it.settle(0.0)
    above = it.settle(sign * (most_d + 0.1) * d_kg, seconds=20.0)
    assert above.tenths_gross_d == sign * round(10 * (most_d + 0.1))


def test_what_comes_on_top_before_the_first_is_rezeroed_counts_with_it() -> None:
    it = rig(VEHICLE)
    it.settle(0.0)
    assert it.settle(1.8 * 20.0, seconds=2.0).tenths_gross_d == 18
    assert it.settle(3.6 * 20.0, seconds=20.0).tenths_gross_d == 36


@pytest.mark.parametrize(("kind", "d_kg"), [(VEHICLE, 20.0), (OTHER, 1.0)])
@pytest.mark.parametrize("fill_d_per_s", [0.2, 0.45, 1.0, 2.75, 2.99, 5.0])
def test_a_load_that_is_put_on_slowly_is_weighed_and_not_tracked_away(
    kind: Kind, d_kg: float, fill_d_per_s: float
) -> None:
    it = rig(kind)
    it.settle(0.0)
    began_us = it.now_us
    it.put(0.0, lambda t_us: min(t_us - began_us, 20_000_000) * 1e-6 * fill_d_per_s * d_kg)
    shown = it.wait(25.0)[-1]
    assert shown.tenths_gross_d == pytest.approx(200 * fill_d_per_s, abs=3)


@pytest.mark.parametrize(("kind", "d_kg"), [(VEHICLE, 20.0), (OTHER, 1.0)])
def test_a_drift_as_of_snow_and_temperature_is_tracked_away(kind: Kind, d_kg: float) -> None:
    it = rig(kind)
    it.settle(0.0)
    began_us = it.now_us
    it.put(0.0, lambda t_us: (t_us - began_us) * 0.1e-6 * d_kg)
    assert all(i.gross_d == 0 for i in it.wait(100.0))


def test_tracking_can_be_switched_off() -> None:
    # S.2.1.3.3: class III L has means to switch zero tracking off for a test.
    it = rig(VEHICLE, zero_tracking=False)
    it.settle(0.0)
    assert it.settle(20.0, seconds=20.0).gross_d == 1


@pytest.mark.parametrize(("kind", "most_kg", "d_kg"), [(VEHICLE, 12_000.0, 20.0), (OTHER, 600.0, 1.0)])
def test_s_2_1_5_initial_zero_takes_out_a_load_of_20_percent_and_no_more(
    kind: Kind, most_kg: float, d_kg: float
) -> None:
    assert not rig(kind, initial_zero=True).settle(most_kg).initial_zero_error
    it = rig(kind, initial_zero=True)
    shown = it.settle(most_kg + d_kg)
    assert shown.initial_zero_error
    assert not shown.shows_figure
    assert not it.settle(0.0).initial_zero_error
    assert it.shows.shows_figure
