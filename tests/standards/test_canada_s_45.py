"""Canada, SI/98-81 s. 45 and C.R.C. 1605 (seen): stable within 3 e above a Max of 2 000 kg, else within 1 e;
for at least 0.4 s; zero, tare, print and store wait for it, and zero-tracking stands still meanwhile.
"""

from __future__ import annotations

import pytest

from benchsim.ground.commands import Record, Tare, Zero
from tests.host.feed import Rig

LARGE = {"profile": "canada-iii-hd", "capacity": "60000", "interval": "20"}
JUST_ABOVE = {"profile": "canada-iii", "capacity": "2001", "interval": "1", "counts_per_kg": 400.0}
JUST_AT = {"profile": "canada-iii", "capacity": "2000", "interval": "1", "counts_per_kg": 400.0}
SMALL = {"profile": "canada-iiii", "capacity": "1000", "interval": "1", "counts_per_kg": 400.0}


@pytest.mark.parametrize(
    ("scale", "e_kg", "band_e"),
    [(LARGE, 20.0, 3.0), (JUST_ABOVE, 1.0, 3.0), (JUST_AT, 1.0, 1.0), (SMALL, 1.0, 1.0)],
)
def test_the_band_of_stability_goes_by_max(scale: dict[str, object], e_kg: float, band_e: float) -> None:
    for part, stands in ((0.95, True), (1.05, False)):
        it = Rig(**scale)  # type: ignore[arg-type]
        size = part * band_e * e_kg
        it.put(50 * e_kg, lambda t_us, size=size: size if (t_us // 100_000) % 2 else -size)  # type: ignore[misc]
        it.wait(3.0)
        assert it.shows.motion is not stands
        assert it.ask(Record()).done is stands


def test_zero_and_tare_wait_until_the_weight_has_stood_for_four_tenths_of_a_second() -> None:
    it = Rig(**LARGE)  # type: ignore[arg-type]
    it.settle(100.0)
    it.put(600.0)
    it.wait(0.3)
    assert it.shows.motion
    assert not it.ask(Zero()).done
    assert not it.ask(Tare()).done
    it.wait(1.5)
    assert not it.shows.motion
    assert it.ask(Tare()).done


def test_zero_tracking_stands_still_in_motion() -> None:
    it = Rig(**JUST_AT, zero_tracking=True)  # type: ignore[arg-type]
    it.settle(0.0)
    it.put(0.3, lambda t_us: 2.0 if (t_us // 100_000) % 2 else -2.0)
    assert all(shown.motion for shown in it.wait(6.0)[10:])
    it.put(0.3)
    assert it.wait(1.0)[-1].tenths_gross_d == 3  # nothing of it was taken while it moved
    assert it.wait(6.0)[-1].tenths_gross_d == 0
