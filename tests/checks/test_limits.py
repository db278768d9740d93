"""Weights exactly at the limit: no float decides, whatever the interval."""

from __future__ import annotations

from decimal import Decimal
from math import nan

import pytest

from tests.checks.asked import kept, verdict
from tests.record.runs import run


@pytest.mark.parametrize(
    ("sentence", "counts"),
    [
        ("always gross is 100 kg within 1 d", {4, 5, 6}),
        ("always gross is 100 kg within 19.999999 kg", {5}),
        ("always gross is 110 kg within 10 kg", {5, 6}),
        ("always gross is above 100 kg", {6, 7}),
        ("always gross is not above 100 kg", {3, 4, 5}),
        ("always gross is above 99.999999 kg", {5, 6, 7}),
        ("always gross is at least 100.000001 kg", {6, 7}),
        # Limits finer than anything that is compared: half a microgram off 100 kg.
        ("always gross is above 99.9999999995 kg", {5, 6, 7}),
        ("always gross is below 100.0000000005 kg", {3, 4, 5}),
        ("always gross is at least 99.9999999995 kg", {5, 6, 7}),
        ("always gross is at most 100.0000000005 kg", {3, 4, 5}),
        ("always gross is at least 100.0000000005 kg", {6, 7}),
        ("always gross is 100.0000000005 kg within 0.0000000005 kg", {5}),
        ("always gross is 100.0000000005 kg within 0.0000000004 kg", set()),
        ("always gross is below 100 kg", {3, 4}),
        ("always gross is at most 100 kg", {3, 4, 5}),
        ("always gross is between 80 kg and 120 kg", {4, 5, 6}),
        ("always gross is not between 80 kg and 120 kg", {3, 7}),
        ("always gross is between 80.000001 kg and 119.999999 kg", {5}),
        ("always gross is 100.1 kg", set()),
        ("always gross is not 100 kg", {3, 4, 6, 7}),
        ("always gross is 100 kg within 20 %", {4, 5, 6}),
        ("always gross is 100 kg within 19.99 %", {5}),
    ],
)
def test_weights_at_the_limit(sentence: str, counts: set[int]) -> None:
    assert {c for c in range(3, 8) if kept(sentence, run(3, lambda t, c=c: c))} == counts  # type: ignore[misc]


@pytest.mark.parametrize("interval", ["0.1", "0.2", "0.05", "0.001", "20", "0.00002"])
@pytest.mark.parametrize("count", [1, 3, 7, 33, 2999])
def test_no_float_decides_at_the_limit(interval: str, count: int) -> None:
    """0.3 kg is not three times 0.1 kg in floats; a display of 0.3 kg is 0.3 kg all the same."""
    d = Decimal(interval)
    made = run(3, lambda t: count + 1, lambda t: sum([float(d)] * count), interval=d)
    assert kept(f"always gross is {(count + 1) * d:f} kg", made)
    assert kept(f"always true mass is {count * d:f} kg", made)
    assert kept("always error is within 1 d", made)
    assert kept("always error is 1 d", made)
    assert not kept("always error is below 1 d", made)
    assert not kept("always error is within 0.999999 d", made)


def test_two_weights_are_compared_to_a_microgram() -> None:
    made = run(3, lambda t: 5, lambda t: 100.000000001)
    assert kept("always gross is true mass within 0.000000001 kg", made)
    assert not kept("always gross is true mass within 0.0000000005 kg", made)
    assert not kept("always gross is true mass", made)
    assert kept("always gross is below true mass", made)


def test_a_share_of_another_weight_at_the_limit() -> None:
    made = run(3, lambda t: 105, lambda t: 2000.0)
    assert kept("always gross is true mass within 5 %", made)
    given = verdict("always gross is true mass within 4.99999999999999999999 %", made)
    assert (given.passed, given.expected) == (False, "always gross 2 t ± 99.999999999 kg")


def test_absurd_figures_are_judged_all_the_same() -> None:
    made = run(3, lambda t: 2**58, lambda t: 1e300)
    assert kept("always gross is above 60 t", made)
    assert not kept("always gross is above 1e30 t", made)
    assert kept("always gross is below 1e30 t", made)
    assert not kept("always true mass is zero", made)


@pytest.mark.parametrize("mass_kg", [nan, float("inf")])
def test_a_true_mass_that_is_no_number_is_not_judged(mass_kg: float) -> None:
    given = verdict("always true mass is zero", run(3, true_kg=lambda t: mass_kg))
    assert not given.passed
    assert "no figure of true mass" in given.found


def test_a_verdict_carries_the_name_of_its_check() -> None:
    assert verdict("always gross is zero", run(3)).name == "always gross is zero"
