"""What was found, where, what would be right."""

from __future__ import annotations

from benchsim.ground.errors import BadInput, ManyBadInputs, Place, nearest, unknown


def test_an_error_says_three_things() -> None:
    error = BadInput("interval: 15 kg", "nearest: 10 kg, 20 kg").at(Place("deck.yaml", 14, 13))
    assert str(error) == "deck.yaml:14:13: interval: 15 kg; nearest: 10 kg, 20 kg"


def test_the_first_place_that_is_known_stays() -> None:
    error = BadInput("x").at(Place("a", 1, 1))
    assert str(error.at(Place("b", 2, 2))) == "a:1:1: x"


def test_a_file_without_lines_is_named_alone() -> None:
    assert str(BadInput("cannot be read", place=Place("a.bin"))) == "a.bin: cannot be read"


def test_all_errors_of_a_file_are_told_at_once() -> None:
    assert str(ManyBadInputs([BadInput("a"), BadInput("b", "c")])) == "a\nb; c"


def test_the_nearest_word_is_suggested() -> None:
    assert nearest("capcity", ["capacity", "interval"]) == "capacity"
    assert nearest("zzz", ["capacity"]) == ""
    assert str(unknown("key", "capcity", ["capacity", "interval"])) == (
        "unknown key 'capcity'; did you mean 'capacity'? known: capacity, interval"
    )


def test_a_part_of_long_words_brings_up_those_it_is_in_and_not_all() -> None:
    many = ["wet-connector", "wet-gland", *(f"other-{n}" for n in range(20))]
    assert str(unknown("fault", "wet", many)) == (
        "unknown fault 'wet'; did you mean 'wet-connector' or 'wet-gland'?"
    )
    assert "known: other-0, other-1" in str(unknown("fault", "zzz", many))


def test_where_nothing_is_known_that_is_said() -> None:
    assert str(unknown("acting fault", "mud", [])) == "unknown acting fault 'mud'; there is none"


def test_a_known_word_that_cannot_be_printed_does_not_break_the_line() -> None:
    assert str(unknown("load", "more", ["half", "\0\r"])) == "unknown load 'more'; known: '\\x00\\r', half"
