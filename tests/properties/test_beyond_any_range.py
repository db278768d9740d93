"""Figures that nothing can have, and texts nested without end, are refused in a line, not worked on."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.checks.sentence import parse as parse_check
from benchsim.ground.errors import BadInput
from benchsim.ground.library import profiles_folder
from benchsim.ground.units import DIMENSIONS, MASS, Dimension, parse
from benchsim.record.container import read_head, told
from benchsim.rules.profile import load_profile, read_profile
from benchsim.serve.typed import read as read_typed
from tests.record.runs import head
from tests.serve.small_bench import DECK

EXPONENTS = st.one_of(st.integers(-5_000, 5_000), st.sampled_from([10**9, -(10**9), 10**20, -(10**20)]))


@given(st.sampled_from(DIMENSIONS), EXPONENTS)
def test_a_quantity_is_in_a_range_that_can_be_worked_with_or_refused(
    dimension: Dimension, zeros: int
) -> None:
    unit, factor = next(iter(dimension.factors.items()))
    text = f"1e{zeros} {unit}"
    if abs(zeros) < 1_490:
        assert parse(text, dimension) == Decimal(f"1e{zeros}") * factor
    elif abs(zeros) > 1_510:
        with pytest.raises(BadInput) as caught:
            parse(text, dimension)
        assert caught.value.found == f"{text!r} is out of any range"


def test_zero_has_no_size_that_could_be_out_of_range() -> None:
    assert parse("0e99999 kg", MASS) == 0


@pytest.mark.parametrize(
    ("sentence", "column"),
    [
        ("at 1 s gross is 1 t within 1e999999 d", 28),
        ("at 1 s gross is 1e-999999 d", 17),
        ("at 1 s gross is 1 t within 1e999999 %", 28),
        ("at 1 s gross is 1 t within 1e99999999999999999999 mpe", 28),
        ("at 1e999999 s gross is 1 t", 4),
    ],
)
def test_a_check_is_refused_at_the_figure_that_nothing_can_have(sentence: str, column: int) -> None:
    with pytest.raises(BadInput, match=f"column {column} of .*out of any range"):
        parse_check(sentence)


@pytest.mark.parametrize(
    "line", ["place block 1e400 kg", "place block 1 t at 1e400 m 1 m", "drive truck 1e400 t at 5 km/h"]
)
def test_a_typed_figure_that_no_number_holds_is_refused(line: str) -> None:
    with pytest.raises(BadInput, match="is out of any range"):
        read_typed(line, DECK)


@given(st.lists(st.sampled_from(["11 t", "1111 t,", "1e5t", "1 m", "1_1 t,", "t", "1"]), max_size=99))
def test_a_long_line_of_axles_that_are_none_is_refused_like_a_short_one(words: list[str]) -> None:
    """Each axle has one reading: two would make 2**40 of the line.  The test ends, or its time runs out."""
    with pytest.raises(BadInput):
        read_typed(f"drive truck {'1e5t 1111 t ' * 40}{' '.join(words)} ;", DECK)


SHIPPED = (profiles_folder() / "r76-iii.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a = " + "[" * 4_000, "values nested too deep"),
        ("a" + ".a" * 3_000 + " = 1", "values nested too deep"),
        ("a = " + "9" * 5_000, "a number beyond any range"),
        ("a = 0x" + "f" * 5_000, "a number beyond any range"),
        ("a = 1e99999999999999999999", "a number beyond any range"),
    ],
    ids=["brackets", "keys", "digits", "hexadecimal", "exponent"],
)
def test_a_profile_with_what_no_limit_can_be_is_refused_in_a_line(text: str, found: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_profile(f"{text}\n{SHIPPED}", "p", "p.toml")
    assert str(caught.value).startswith(f"p.toml: {found}; ")
    assert read_profile(SHIPPED, "r76-iii", str(profiles_folder() / "r76-iii.toml")) == load_profile(
        "r76-iii"
    )


def test_a_recording_of_a_strange_format_is_refused_on_one_line() -> None:
    with pytest.raises(BadInput) as caught:
        read_head(head().metadata() | {"format": "9\n\x1b[2J" + "x" * 500}, ())
    assert caught.value.found.isprintable()
    assert len(caught.value.found) < 120


@given(st.text())
def test_a_text_of_a_file_is_told_on_one_line(text: str) -> None:
    assert told(text).isprintable()
    assert len(told(text)) < 700
