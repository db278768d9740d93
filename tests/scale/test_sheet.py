"""What a data sheet may say of a cell by its class; limits are those of OIML R 60-1:2021."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.scale.sheet import CLASSES, Sheet, check_sheet, creep_terms, typical
from benchsim.scale.validate import check_cell

E_MAX_KG = 30_000.0


@pytest.mark.parametrize(
    ("sheet", "message"),
    [
        (Sheet(E_MAX_KG, "E", 3_000), "unknown accuracy class 'E'"),
        (Sheet(E_MAX_KG, "C", 499), "intervals: 499; 500 to 10000 in class C (OIML R 60-1 5.1.2)"),
        (Sheet(E_MAX_KG, "C", 10_001), "intervals: 10001; 500 to 10000"),
        (Sheet(E_MAX_KG, "A", 49_999), "intervals: 49999; 50000 or more in class A"),
        (Sheet(E_MAX_KG, "D", 99), "intervals: 99; 100 to 1000"),
        (Sheet(E_MAX_KG, "B", 4_999), "intervals: 4999; 5000 to 100000"),
        (Sheet(E_MAX_KG, "C", 3_000, p_lc=0.9), "p_LC: 0.9; 0.3 to 0.8"),
        (
            Sheet(E_MAX_KG, "C", 3_000, v_min_kg=11.0),
            "v_min: 11 kg; above 0 and at most v = E_max / n_LC, 10",
        ),
        (Sheet(E_MAX_KG, "C", 3_000, v_min_kg=0.0), "v_min: 0 kg"),
        (
            Sheet(E_MAX_KG, "C", 3_000, return_kg=5.1),
            "dead load output return: 5.1 kg; above 0 and at most 0.5",
        ),
    ],
)
def test_what_no_cell_of_the_class_can_say_is_refused(sheet: Sheet, message: str) -> None:
    with pytest.raises(BadInput) as told:
        check_sheet(sheet)
    assert message in str(told.value)


def test_the_envelope_of_class_c_steps_at_500_and_2000_v() -> None:
    """R 60-1 5.3.2: 0.5 v up to 500 v, 1.0 v up to 2 000 v, 1.5 v beyond."""
    steps = [CLASSES["C"].envelope_v(load) for load in (0, 500, 501, 2_000, 2_001, 10_000)]
    assert steps == [0.5, 0.5, 1.0, 1.0, 1.5, 1.5]


@given(
    name=st.sampled_from(sorted(CLASSES)), part=st.floats(0.0, 1.0), ratio=st.floats(1.0, 20.0),
    p_lc=st.floats(0.3, 0.8), number=st.integers(0, 15), e_max_kg=st.floats(1.0, 1e6), z=st.floats(1.0, 10.0),
)  # fmt: skip
def test_any_sheet_that_may_be_makes_a_cell(
    name: str, part: float, ratio: float, p_lc: float, number: int, e_max_kg: float, z: float
) -> None:
    accuracy = CLASSES[name]
    most = accuracy.most_intervals or 1_000_000
    n = round(accuracy.least_intervals + part * (most - accuracy.least_intervals))
    sheet = Sheet(e_max_kg, name, n, p_lc, e_max_kg / n / ratio, 0.5 * e_max_kg / n / z)
    cell = typical(sheet, number)
    check_cell(cell, "cell 1")
    assert abs(cell.nonlinearity) + abs(cell.hysteresis) < p_lc * 1.5 / n
    assert cell.recovery > 0.0


@pytest.mark.parametrize("in_30_min", [0.0002, -0.0001])
def test_so_much_has_crept_after_half_an_hour(in_30_min: float) -> None:
    come = sum(a * (1.0 - math.exp(-1_800.0 / tau)) for a, tau in creep_terms(in_30_min))
    assert come == pytest.approx(in_30_min, rel=1e-9)
