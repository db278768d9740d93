"""Each procedure has a scale or a host that fails it, and fails nothing that has no part in it.

Where two procedures look at one cause, both stand in the table, and the line says why.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.verify.scales import BRIDGE, LONG, PLATFORM, Spoiled, failing, good, verified

D = Decimal


def span(cell: int, drift: float) -> tuple[str, int, dict[str, float | str]]:
    """The output of a cell, or of all, is off by a share of itself."""
    return "span-drift", cell, {"drift": drift, "over_us": 0}


ALL_OFF = Spoiled(faults=(span(0, 0.0006),))  # 1.8 e at Max, 0.6 e at a third of it
CORNERS_OFF = Spoiled(faults=(span(1, 0.0025), span(4, -0.0025)))  # right in the middle
ENDS_OFF = Spoiled(faults=(span(1, 0.004), span(2, 0.004), span(5, -0.004), span(6, -0.004)))
RUBS = Spoiled(
    faults=tuple(("binding-support", 0, {"support": n, "holds_kg": 0.12, "share": 0.5}) for n in (1, 2, 3, 4))
)
SITS_BADLY = Spoiled(faults=(("poor-repeatability", 0, {"deviation": 0.001}),))
YIELDS = Spoiled(faults=(("weak-spring", 0, {"bears": 0.35, "yields": 0.0005}),))  # near Max alone
WEDGED = Spoiled(
    faults=(("wedged-object", 0, {"along": 0.5, "gap_m": 5e-5, "stiffness_n_per_m": 5e5}),)
)  # beyond 2 t alone: what a third of Max beside a tare weighs, but hardly what Max weighs
# 0.09 % comes late; the span is set so that the error is half of it each way.
CREEPS = Spoiled(cells={"creep": ((0.0009, 1500.0),), "recovery": 0.0, "rated_output_mv_per_v": 2.0 * 1.0006})
REMEMBERS = Spoiled(cells={"creep": ((0.00012, 900.0),), "recovery": 4.0})
MOVING_COUNTS = Spoiled(host={"motion_band_d": D(500), "settled_within_d": D(500), "stable_for_us": 100_000})
ZERO_IN_MOTION = Spoiled(host={"zero_when_stable": False})
TRACKS_LOADS = Spoiled(host={"zero_tracking_at_zero_only": False, "zero_tracking_window_d": D(3)})

R76, HB44, VEHICLE = "r76-iii", "hb44-iii", "hb44-iiil-vehicle"
TABLE = [
    (R76, "zero accuracy", ZERO_IN_MOTION, set()),
    (R76, "weighing performance", ALL_OFF, set()),
    (R76, "eccentricity", CORNERS_OFF, set()),
    # What friction holds back is missing after zero-setting, too.
    (R76, "discrimination", RUBS, {"zero accuracy"}),
    (R76, "repeatability", SITS_BADLY, set()),
    (R76, "creep", CREEPS, set()),
    (R76, "zero return", REMEMBERS, set()),
    # Zero is set in motion for the same reason.
    (R76, "equilibrium stability", MOVING_COUNTS, {"zero accuracy"}),
    (R76, "tare weighing", WEDGED, set()),
    (R76, "zero-tracking", TRACKS_LOADS, set()),
    # A span that is off shows at capacity however it is reached; each of repeated weighings is judged, too.
    (HB44, "increasing load", ALL_OFF, {"decreasing load", "repeatability"}),
    # What a load near Max leaves behind is what the return of zero looks for.
    (HB44, "decreasing load", YIELDS, {"zero-load return"}),
    (HB44, "shift", CORNERS_OFF, set()),
    (VEHICLE, "sections", ENDS_OFF, set()),
    (HB44, "repeatability", SITS_BADLY, set()),
    (HB44, "discrimination", RUBS, set()),
    (HB44, "creep", CREEPS, set()),
    (HB44, "zero-load return", REMEMBERS, set()),
    (HB44, "motion", MOVING_COUNTS, set()),
    (HB44, "zero-tracking", TRACKS_LOADS, set()),
]


ROWS = pytest.mark.parametrize(
    ("rules", "title", "by", "also"), TABLE, ids=[f"{r} {t}" for r, t, _, _ in TABLE]
)


def scale_for(rules: str) -> str:
    return BRIDGE if rules == VEHICLE else PLATFORM


OF_THE_HOST = {"zero accuracy", "equilibrium stability", "tare weighing", "zero-tracking"}
OF_THE_SCALE = {
    "zero accuracy",
    "weighing performance",
    "eccentricity",
    "discrimination",
    "repeatability",
    "tare weighing",
}


@ROWS
def test_what_is_wrong_fails_its_procedure(rules: str, title: str, by: Spoiled, also: set[str]) -> None:
    """For R 76 beside all others that test the same half, for Handbook 44 beside what has a part in it."""
    beside = set(also)
    if rules == R76 and title in LONG:
        beside |= {*LONG, "weighing performance"}
    elif rules == R76:
        beside |= OF_THE_HOST if by.host else OF_THE_SCALE
    report = verified(scale_for(rules), rules, by, among={title, *beside})
    assert failing(report) == {title} | also
    assert not report.passed


@pytest.mark.long
@ROWS
def test_what_is_wrong_fails_nothing_else(rules: str, title: str, by: Spoiled, also: set[str]) -> None:
    assert failing(verified(scale_for(rules), rules, by)) == {title} | also


@pytest.mark.parametrize(("text", "rules"), [(PLATFORM, R76), (PLATFORM, HB44), (BRIDGE, VEHICLE)])
def test_every_procedure_that_a_good_scale_passes_can_fail(text: str, rules: str) -> None:
    report = good(text, rules)
    assert report.passed
    assert failing(report) == set()
    family = {R76: (R76,), HB44: (HB44,), VEHICLE: (HB44, VEHICLE)}[rules]
    spoilt = {title for row, title, _, _ in TABLE if row in family}
    assert {t.title for t in report.tests if t.passed} <= spoilt
