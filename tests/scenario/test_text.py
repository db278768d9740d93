"""YAML as version 1.2 has it, with a place for every value, and no way to run away with the machine."""

from __future__ import annotations

import json
import math
import time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput, Place
from benchsim.scenario.text import MAX_BYTES, MAX_DEPTH, MAX_VALUES, read


def value(text: str) -> Any:
    return read(f"key: {text}\n", "f.yaml")[0]["key"]


# Source: YAML 1.2.2, 10.3.2 "Tag resolution" (core schema): which plain scalars are null, boolean, integer
# or number; everything else is a string.
@pytest.mark.parametrize(
    ("written", "read_as"),
    [
        ("on", "on"),
        ("off", "off"),
        ("yes", "yes"),
        ("No", "No"),
        ("y", "y"),
        ("true", True),
        ("FALSE", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("012", 12),
        ("-7", -7),
        ("+7", 7),
        ("0o14", 12),
        ("0x1F", 31),
        ("1:30", "1:30"),
        ("1_000", "1_000"),
        ("1e3", 1000.0),
        ("1.", 1.0),
        (".5", 0.5),
        ("-2.5E-1", -0.25),
        (".inf", math.inf),
        ("-.Inf", -math.inf),
        ("2026-11-25", "2026-11-25"),
        ("'12'", "12"),
        ('"true"', "true"),
        ("!!str 12", "12"),
        ("18.4 t", "18.4 t"),
        ("0b11", "0b11"),
        ("=", "="),
        ("<<", "<<"),
    ],
)
def test_plain_scalars_follow_the_core_schema_of_yaml_1_2(written: str, read_as: Any) -> None:
    found = value(written)
    assert found == read_as
    assert type(found) is type(read_as)


def test_not_a_number_is_read_as_such() -> None:
    assert math.isnan(value(".nan"))


@pytest.mark.parametrize(
    ("text", "place", "found"),
    [
        ("a: 1\nb:\n  c: 2\n  c: 3\n", "f.yaml:4:3", "the key 'c' stands twice; the first is at line 3"),
        ("a: 1\n'a': 2\n", "f.yaml:2:1", "stands twice"),
        ("a: 1\n? [1, 2]\n: 3\n", "f.yaml:2:3", "as a key"),
        ("a: !!python/name:os.system x\n", "f.yaml:1:4", "tags are not used"),
        ("a: !mine {b: 1}\n", "f.yaml:1:4", "tags are not used"),
        ("a: *nobody\n", "f.yaml:1:4", "the alias *nobody has no anchor"),
        ("a: 1\n---\nb: 2\n", "f.yaml:2:1", "a second document"),
        ("a:\n\t- 1\n", "f.yaml:2:1", "spaces, never with tabs"),
        ("a: b: c\n", "f.yaml:1:5", "quotes"),
        ("a: [1, 2\n", "f.yaml:2:1", "not YAML"),
        ("a: 'x\n", "f.yaml:2:1", "not YAML"),
        ("a: 1\nb: \x07\n", "f.yaml:2:4", "not YAML"),
        ("", "f.yaml", "the file is empty"),
        ("# nothing\n", "f.yaml", "the file is empty"),
        ("a: &x [*x]\n", "f.yaml:1:4", "contains itself"),
    ],
)
def test_what_is_not_plain_yaml_is_refused_at_its_place(text: str, place: str, found: str) -> None:
    with pytest.raises(BadInput) as caught:
        read(text, "f.yaml")
    assert str(caught.value).startswith(f"{place}: ")
    assert found in str(caught.value)


def test_a_place_is_known_for_keys_values_and_items() -> None:
    _, places = read("a: 1\nlist:\n  - {x: 5 s, y: 'q'}\n  - z\n", "f.yaml")
    assert str(places.of(("a",))) == "f.yaml:1:4"
    assert str(places.of(("a",), key=True)) == "f.yaml:1:1"
    assert str(places.of(("list", 0, "y"))) == "f.yaml:3:17"
    assert str(places.of(("list", 0, "y"), key=True)) == "f.yaml:3:14"
    assert str(places.of(("list", 1))) == "f.yaml:4:5"
    assert str(places.of(("list", 0, "missing"))) == "f.yaml:3:5"


@pytest.mark.parametrize(
    ("line", "column", "place"),
    [
        ("- at 5 s gros is 1 t", 8, "f.yaml:2:10"),
        ("- 'at 5 s gros is 1 t'", 8, "f.yaml:2:11"),
        ("- >\n  at 5 s\n  gros", 8, "f.yaml:2:3"),
    ],
)
def test_a_column_inside_a_text_is_counted_from_its_first_letter(line: str, column: int, place: str) -> None:
    _, places = read(f"checks:\n{line}\n", "f.yaml")
    assert str(places.inside(("checks", 0), column)) == place


def test_a_bomb_of_aliases_is_refused_at_once() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 12)]
    began = time.perf_counter()
    with pytest.raises(BadInput, match=f"too many values, aliases written out; at most {MAX_VALUES}"):
        read("\n".join(lines), "f.yaml")
    assert time.perf_counter() - began < 5


@pytest.mark.parametrize("opening", ["[", "{a: ", "- "])
def test_values_nested_a_hundred_thousand_deep_are_refused(opening: str) -> None:
    with pytest.raises(BadInput, match=f"at most {MAX_DEPTH} levels"):
        read(opening * 100_000, "f.yaml")


def test_depth_by_way_of_aliases_counts_too() -> None:
    lines = ["a0: &a0 [x]"] + [f"a{n}: &a{n} [*a{n - 1}]" for n in range(1, 500)]
    with pytest.raises(BadInput, match="nested too deep by aliases"):
        read("\n".join(lines), "f.yaml")


def test_a_text_that_is_too_long_is_refused_unread() -> None:
    with pytest.raises(BadInput, match=f"at most {MAX_BYTES}"):
        read("a: " + "x" * MAX_BYTES, "f.yaml")


def test_an_alias_is_written_out() -> None:
    values, _ = read("a: &spot [1 m, 2 m]\nb: *spot\n", "f.yaml")
    assert values == {"a": ["1 m", "2 m"], "b": ["1 m", "2 m"]}


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=200))
def test_any_text_is_read_or_refused_with_its_place(text: str) -> None:
    place: Place | None
    try:
        place = read(text, "f.yaml")[1].of(())
    except BadInput as error:
        place = error.place
    assert place is not None
    assert place.file == "f.yaml"


WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cn", "Co", "Zl", "Zp"]), max_size=8
)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(10**18), 10**18)
        | st.floats(allow_nan=False, allow_infinity=False)
        | WORDS,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
        max_leaves=20,
    ).filter(lambda v: isinstance(v, dict | list))
)
def test_json_is_read_as_the_standard_library_reads_it(document: Any) -> None:
    """Source: YAML 1.2.2, 1.2: every JSON text is YAML (libyaml lacks escaped pairs)."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    assert read(text, "f.json")[0] == json.loads(text)
