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


def test_tracking_can_be_switched_off() -> None:
    # S.2.1.3.3: class III L has means to switch zero tracking off for a test.
    it = rig(VEHICLE, zero_tracking=False)
    it.settle(0.0)
    assert it.settle(20.0, seconds=20.0).gross_d == 1


def test_s_2_1_5_initial_zero_takes_out_no_more_than_20_percent_overall() -> None:
    assert not rig(VEHICLE, initial_zero=True).settle(6_000.0).initial_zero_error
    it = rig(VEHICLE, initial_zero=True)
    shown = it.settle(6_020.0)
    assert shown.initial_zero_error
    assert not shown.shows_figure
    assert not it.settle(0.0).initial_zero_error
    assert it.shows.shows_figure
