"""A seal's fingerprints: the same for the same figures, another for any other."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.host.calibration_parts import Settings
from benchsim.host.calibration_results import results_of
from benchsim.host.calibration_seal import Seal, seal
from benchsim.rules.profile import load_profile
from tests.host.calibrated import HandScale, bending, settings, walked

K = tuple(0.0005 + 1e-6 * i for i in range(6))
ZEROS = tuple(10_000.0 + 17 * i for i in range(6))
OWN = settings(6)
figures = st.floats(1e-6, 1e-2)


def made(own: Settings = OWN, k: tuple[float, ...] = K, zeros: tuple[float, ...] = ZEROS) -> Seal:
    return seal(own, k, zeros, 1.0)


def test_the_fingerprint_is_the_head_of_a_sha_256_over_what_is_sealed() -> None:
    """Source: hashlib's SHA-256 (FIPS 180-4) over the lines, written out here."""
    lines = [
        "benchsim calibration 1", "capacity 3000 kg", "interval 1 kg", "verification_interval 1 kg",
        "profile r76-iii", "gravity_factor 1.0",
        "cell 1 address 1 channel 0 5.00000000000e-04 1.00000000000e+04",
    ]  # fmt: skip
    one = seal(settings(1), (0.0005,), (10_000.0,), 1.0)
    assert one.whole == hashlib.sha256("\n".join(lines).encode()).digest()[:8]
    node = hashlib.sha256("\n".join([*lines[:6], "address 1", lines[6]]).encode()).digest()[:8]
    assert one.nodes == {1: node}


@given(k=st.tuples(*[figures] * 6), zeros=st.tuples(*[st.floats(-8e6, 8e6)] * 6))
def test_the_same_figures_give_the_same_fingerprint(k: tuple[float, ...], zeros: tuple[float, ...]) -> None:
    assert made(k=k, zeros=zeros).whole == made(k=tuple(k), zeros=tuple(zeros)).whole
    assert made(k=k, zeros=zeros).nodes == made(k=k, zeros=zeros).nodes


@given(cell=st.integers(0, 5), part=st.floats(1e-10, 0.1), sign=st.sampled_from((-1, 1)), zero=st.booleans())
def test_another_figure_gives_another_fingerprint_at_its_address_alone(
    cell: int, part: float, sign: int, zero: bool
) -> None:
    changed = list(ZEROS if zero else K)
    changed[cell] *= 1 + sign * part
    other = made(zeros=tuple(changed)) if zero else made(k=tuple(changed))
    mine = 1 + cell // 4
    assert other.whole != made().whole
    assert {a for a in (1, 2) if other.nodes[a] != made().nodes[a]} == {mine}


SETTINGS: list[Callable[[Settings], Settings]] = [
    lambda s: replace(s, capacity_kg=Decimal(2999)),
    lambda s: replace(s, interval_kg=Decimal("0.5"), verification_interval_kg=Decimal(1)),
    lambda s: replace(s, verification_interval_kg=Decimal(2)),
    lambda s: replace(s, profile=load_profile("hb44-iii")),
    lambda s: replace(s, places=(*s.places[:5], (2, 3))),
    lambda s: replace(s, places=(s.places[1], s.places[0], *s.places[2:])),
]


@pytest.mark.parametrize("change", SETTINGS)
def test_another_setting_gives_another_fingerprint(change: Callable[[Settings], Settings]) -> None:
    assert made(change(OWN)).whole != made().whole


def test_a_number_written_otherwise_is_no_other_setting() -> None:
    assert made(replace(OWN, capacity_kg=Decimal("3000.00"))).whole == made().whole


def test_gravity_of_another_place_is_sealed_in() -> None:
    assert seal(OWN, K, ZEROS, 1.0001).whole != made().whole


def test_the_seal_as_a_file_holds_all_that_the_host_needs_and_says_that_it_is_simulated() -> None:
    made_here = results_of(walked(settings(), HandScale((0.000501,) * 4, bending(4)))).seal()
    read = tomllib.loads(made_here.text())
    assert read["fingerprint"] == made_here.whole.hex()
    assert read["fingerprints"] == {"1": made_here.nodes[1].hex()}
    assert "never an instrument" in read["simulated"]
    seats = [(c["address"], c["channel"], c["kg_per_count"], c["zero_counts"]) for c in read["cells"]]
    assert seats == [(s.address, s.channel, s.kg_per_count, s.zero_counts) for s in made_here.seats]
