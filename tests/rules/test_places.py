"""Where a key stands, in the ways TOML lets it be written (TOML 1.0: keys, tables, inline tables)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.rules.places import Places

TEXT = '''\
title = "[zero] x = 1"  # [limits]
[ motion ]  # of a kind
  motion_band_d = { clause = "value = 3", value = 1.5, mark = "seen" }
list = [
  [1, 2],
  [500],
]
[zero]
"a b" = { value = 2 }
[limits.overload_percent]
value = 105
clause = "x"
[tare]
largest_tare.value = 1
note = """
[recording]
value = 7
"""
[recording]
x = { value = "\\" value = ", mark = 3 }
'''


@pytest.mark.parametrize(
    ("path", "line", "starts"),
    [
        (("title",), 1, "title"),
        (("motion",), 2, "[ motion ]"),
        (("motion", "motion_band_d"), 3, "motion_band_d"),
        (("motion", "motion_band_d", "value"), 3, "1.5"),
        (("motion", "motion_band_d", "mark"), 3, "mark"),
        (("motion", "nothing"), 2, "[ motion ]"),
        (("motion", "motion_band_d", "nothing"), 3, "motion_band_d"),
        (("motion", "list", "value"), 4, "list"),
        (("zero",), 8, "[zero]"),
        (("zero", "a b", "value"), 9, "2 }"),
        (("limits", "overload_percent"), 10, "[limits."),
        (("limits", "overload_percent", "value"), 11, "105"),
        (("limits", "overload_percent", "clause"), 12, "clause"),
        (("tare", "largest_tare", "value"), 14, "1"),
        (("recording",), 19, "[recording]"),
        (("recording", "x", "value"), 20, '"\\" value'),
        (("recording", "x", "mark"), 20, "mark"),
    ],
)
def test_a_key_is_found_where_it_stands(path: tuple[str, ...], line: int, starts: str) -> None:
    place = Places(TEXT, "f").of(*path)
    assert place.line == line
    assert TEXT.split("\n")[line - 1][place.column - 1 :].startswith(starts)


def test_what_is_not_there_has_the_place_of_the_file() -> None:
    assert Places(TEXT, "f").of("nothing", "value").line == 0
    assert Places("", "f").of("x").line == 0


@given(
    st.text(alphabet="[]{}=.\"'#\\ ab\n"), st.lists(st.sampled_from(["a", "b", "ab", "value"]), min_size=1)
)
def test_any_text_has_places_within_it(text: str, path: list[str]) -> None:
    place = Places(text, "f").of(*path)
    if place.line:
        assert 1 <= place.column <= len(text.split("\n")[place.line - 1]) + 1


@pytest.mark.parametrize(
    "line", ["a." * 90_000, "[" + "a." * 90_000, '"' * 199_000, "[" * 199_000, "a = " + "[ {" * 60_000]
)
def test_a_line_as_long_as_a_file_may_be_is_gone_through(line: str) -> None:
    """What grows with the square of a line's length would take minutes here."""
    assert Places(line + "\nb = 1", "f").of("b", "value").line in (0, 2)
