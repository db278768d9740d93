"""Whatever a user's own file holds, it is a profile or is refused in words with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput, BenchsimError, ManyBadInputs
from benchsim.ground.library import profiles_folder
from benchsim.rules.layers import MOST_BYTES, MOST_ERRORS
from benchsim.rules.profile import load_profile, read_profile
from benchsim.rules.schema import KEYS

TEXT = (profiles_folder() / "r76-iii.toml").read_text(encoding="utf-8")
VALUES = st.sampled_from(
    [
        *("0", "-1", "1e400", "nan", "true", '""', '"none"', '"no limit"', "[]", "{}", "[[1, 1]]"),
        *('[["no limit", 1]]', "[[1, 2], [1, 3]]", "[nan, inf]", "[[[[]]]]", "1979-05-27", "{ a = 1 }"),
        *("[0, 0]", "99999999999999999999", '"1/3"', '"1/0"', "'\\x'", "0x10", "[1, 2, 3]"),
    ]
)


@given(st.lists(st.tuples(st.sampled_from(KEYS), VALUES), min_size=1, max_size=4))
def test_any_value_in_place_of_a_right_one_is_read_or_refused_with_its_place(changes: list) -> None:  # type: ignore[type-arg]
    lines = TEXT.splitlines()
    for key, value in changes:
        for number, line in enumerate(lines):
            if line.startswith(f"{key.name} ="):
                lines[number] = f'{key.name} = {{ value = {value}, clause = "x", mark = "seen" }}'
    for error in errors_of("\n".join(lines)):
        assert error.place is not None
        assert error.right


def errors_of(text: str) -> tuple[BadInput, ...]:
    try:
        read_profile(text, "own", "own.toml")
    except ManyBadInputs as errors:
        return errors.errors
    except BadInput as error:
        return (error,)
    return ()


@given(st.text(max_size=60))
def test_any_text_is_refused_and_never_more(text: str) -> None:
    with pytest.raises(BenchsimError):
        read_profile(text, "own", "own.toml")


def test_a_file_full_of_mistakes_tells_the_first_of_them() -> None:
    with pytest.raises(ManyBadInputs) as caught:
        read_profile("\n".join(f"k{n} = 1" for n in range(20_000)), "own", "own.toml")
    assert len(caught.value.errors) == MOST_ERRORS
    assert str(caught.value).startswith("own.toml:1:1: unknown section or key 'k0'")


def test_a_file_too_large_for_a_profile_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "big.toml").write_text("#" * (MOST_BYTES + 1), "utf-8")
    with pytest.raises(BadInput, match=f"at most {MOST_BYTES} bytes"):
        load_profile(str(tmp_path / "big.toml"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = " + "[" * 3_000 + "]" * 3_000, "nested too deep"),
        ("x = " + "9" * 5_000, "beyond any range"),
        ("x = 1e999999999999", ""),
        ("a" + ".a" * 2_000 + " = 1", "nested too deep"),
        ("[[zero]]", "zero is not a section; write [zero]"),
        ("zero = []", "zero is not a section; write [zero]"),
        ("[zero]\n[zero]", "not TOML"),
        ("zero.centre_of_zero_d = 3", "own.toml:1:1: centre_of_zero_d has no value with its clause"),
        ('[zero.centre_of_zero_d]\nvalue = 90\nclause = "x"\nmark = "seen"', "own.toml:2:9: 90 is out of"),
        ('[scope]\ncovers = { value = "' + "x" * 300 + '", clause = "x", mark = "seen" }', "not a line of"),
        ('[tare]\nlargest_tare = { value = 1, clause = "x", mark = ["seen"] }', "unknown mark"),
        ('[tare]\nlargest_tare = { value = 1, clause = 3, mark = "seen" }', "no clause"),
        ("\ufeff" + "x = 1", "not TOML"),
    ],
)
def test_what_a_file_can_do_wrong_is_told_in_words(text: str, says: str) -> None:
    with pytest.raises(BenchsimError) as caught:
        read_profile(text, "own", "own.toml")
    assert says in str(caught.value)


def test_the_same_values_may_be_written_as_tables_of_their_own() -> None:
    plain = 'underload_d = { value = 20, clause = "own choice", mark = "common practice, no source" }'
    assert plain in TEXT
    text = TEXT.replace(plain, "") + (
        '\n[limits.underload_d]\nvalue = 30\nclause = "own choice"\nmark = "common practice, no source"\n'
    )
    assert read_profile(text, "own", "own.toml").underload_d == 30
