"""The check language: what is read, and what a mistake is told."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.checks.forms import FORMS, Form
from benchsim.checks.quantities import Known, Quantity, Subject, Tolerance
from benchsim.checks.sentence import Check, Count, Manner, Moment, When, parse
from benchsim.checks.statements import (
    COMMANDS,
    CONDITIONS,
    FLAGS,
    STEPS,
    AnswerIs,
    FlagIs,
    NodeIs,
    WeightIs,
)
from benchsim.checks.tokens import SentenceError
from benchsim.ground.errors import BadInput, Place
from benchsim.record.trace import FLAGS as FLAG_NAMES
from benchsim.record.trace import Flag

FORM_IDS = [form.form for form in FORMS]


@pytest.mark.parametrize("form", FORMS, ids=FORM_IDS)
def test_every_example_of_the_table_is_read(form: Form) -> None:
    check = parse(form.example)
    assert check.text == check.name == form.example


@pytest.mark.parametrize("word", [*FLAGS, *STEPS, *COMMANDS, *CONDITIONS])
def test_every_word_of_the_language_stands_in_its_table(word: str) -> None:
    spoken = " ".join(form.form + " " + form.meaning for form in FORMS)
    assert word.replace("center", "centre") in spoken


def test_every_flag_of_an_indication_can_be_asked_for() -> None:
    asked = {flag for flag, _ in CONDITIONS.values()} | set(FLAGS.values())
    assert asked == {Flag(1 << bit) for bit in range(len(FLAG_NAMES))}


def test_the_sentences_of_the_scenario_format_mean_what_they_say() -> None:
    check = parse("at 15 s gross is 18.4 t within 1 d")
    assert (check.when, check.manner) == (When("at", Moment(15_000_000)), Manner("some"))
    assert check.statement == WeightIs(
        "gross is 18.4 t within 1 d",
        Subject("gross"),
        "within",
        Quantity(Decimal("18400.0"), "kg"),
        Tolerance(Decimal(1), "d"),
    )
    check = parse("within 8 s after 20 s motion is on")
    assert check.when == When("within", Moment(20_000_000), for_us=8_000_000)
    assert check.statement == FlagIs("motion is on", Flag.MOTION, True)
    check = parse("never recorded while in motion")
    assert check.manner == Manner("never")
    assert check.conditions == (FlagIs("in motion", Flag.MOTION, True),)
    check = parse("from 41 s to 44 s indication is invalid")
    assert check.when == When("span", Moment(41_000_000), Moment(44_000_000))
    check = parse('at 50.1 s answer of scp0499 is "\\n 1G ...\\x41"')
    assert check.statement == AnswerIs(check.statement.text, "scp0499", "is", b"\n 1G ...A", False)
    check = parse("at 12 s node 2 is flow")
    assert check.statement == NodeIs("node 2 is flow", 2, "flow", False)


@pytest.mark.parametrize(
    ("sentence", "same_as"),
    [
        ("at 9 s gross is within 1 d of 5 t", "at 9 s gross is 5 t within 1 d"),
        ("at 9 s gross is 5000 kg within 20 kg", "at 9 s gross is 5 t within 0.02 t"),
        ("at 9 s error is within 1 d", "at 9 s error is within 1 d of zero"),
        ("at 9 s gross is zero", "at 9 s gross is 0 d within 0 d"),
        ("at 9 s display is 5 t", "at 9 s shown is 5 t"),
        ("at 9 s error is within mpe", "at 9 s error is within initial tolerance"),
        ("at 9 s error is within in-service mpe", "at 9 s error is within maintenance mpe"),
        ("at 9 s error is within in service mpe", "at 9 s error is within maintenance mpe"),
        ("at 9 s gross is −5 t", "at 9 s gross is -5 t"),
        ("AT 9 s Gross Is 5 t", "at 9 s gross is 5 t"),
        ("at 9000 ms gross is 5 t", "at 9 s gross is 5 t"),
        ("at 9 s net is 1e within 1 e", "at 9 s net is 1 d within 1 d"),
        ("recorded once", "recorded exactly 1 times"),
        ('during fault "wind" in motion', "during fault wind motion is on"),
        ("always motion is not on", "always motion is off"),
        ("never for more than 2 s blank", "never for more than 2 s indication is blank"),
    ],
)
def test_two_ways_to_say_the_same(sentence: str, same_as: str) -> None:
    assert plain(parse(sentence)) == plain(parse(same_as))


def plain(check: Check) -> tuple[object, ...]:
    """A check without the words it was written in."""
    statement = {name: getattr(check.statement, name) for name in check.statement.__slots__ if name != "text"}
    return check.when, check.manner, type(check.statement), statement, check.count


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("exactly 3 times", Count(3, 3)),
        ("at least 1 time", Count(1, None)),
        ("at most 2 times", Count(0, 2)),
        ("twice", Count(2, 2)),
        ("at least twice", Count(2, None)),
        ("exactly 0 times", Count(0, 0)),
    ],
)
def test_how_often(words: str, count: Count) -> None:
    assert parse(f"recorded {words}").count == count


def test_a_check_can_have_a_name_of_its_own() -> None:
    assert parse("always motion is off", name="rest").name == "rest"


@pytest.mark.parametrize(
    ("sentence", "column", "found", "right"),
    [
        ("at 15 s grss is 5 t", 9, "'grss'", "did you mean 'gross'?"),
        ("alwas gross is 5 t", 1, "'alwas'", "did you mean 'always'?"),
        ("at 15 gross is 5 t", 4, "15 without a unit of time", "a time in us, µs, ms, s, min, h"),
        ("at 15 s gross is 5", 18, "5 has no unit", "write 5 t, 5 kg or 5 d"),
        ("at 15 s gross is 5 tt", 18, "'5 tt' has the unknown unit 'tt'", "did you mean 't'?"),
        ("at 15 s gross is 5 s", 18, "'5 s' is a time, not a mass", "units of mass: kg"),
        ("at 5 s gross is 18,4 t", 17, "a number that cannot be read", "decimal point"),
        ("at 5 s gross is 5 t within", 27, "the end of the sentence", "1 d, 20 kg, 0.5 %"),
        ("at 15 s gross is 18.4 t withn 1 d", 25, "'withn'", "did you mean 'within TOL'?"),
        ("at 5 s gross is 5 t while stabel", 27, "'stabel'", "did you mean 'stable'?"),
        ("at 5 s node 2 is flowing", 18, "'flowing'", "did you mean 'flow'?"),
        ("at 5 s node two is flow", 13, "'two'", "a whole number"),
        ("at 5 s cell 17 is 3 t", 13, "cell 17", "cells are numbered 1 to 16"),
        ("at 5 s cell 0 is 3 t", 13, "cell 0", "cells are numbered 1 to 16"),
        ('at 5 s answer of scp is "abc', 25, "a quotation that does not end", 'close it with "'),
        ('at 5 s answer of scp is "ab\\qc"', 28, "an unknown escape \\q", "known: \\n \\r"),
        ('at 5 s answer of scp is "€"', 25, "the character '€' in an answer", "one byte a character"),
        ('at 5 s answer of scp matches "("', 30, "the pattern '('", "not a regular expression"),
        ('at 5 s invalid with reason ""', 28, "an empty reason", "write what it says"),
        ("at 5 s command zro is done", 16, "'zro'", "did you mean 'zero'?"),
        ("gross is 5 t", 1, "a state without a time", "say when, as 'at 15 s gross is 5 t'"),
        ("from 5 s to 3 s motion is on", 6, "a stretch that ends before it begins", "earlier to the later"),
        ("within 3 s gross is 3 t", 12, "'gross'", "after"),
        ("at 5 s at 6 s gross is 3 t", 8, "a second 'at'", "one time and one manner"),
        ("at 5 s gross is between 5 t and 3 t", 8, "a range that runs backwards", "smaller and the larger"),
        ("at 5 s gross is 3 t within -1 d", 28, "a tolerance of -1", "0 or above"),
        ("at 5 s error is within 0 mpe", 24, "a tolerance of 0 mpe", "above 0"),
        ("at -5 s gross is 3 t", 4, "-5 s", "0 or above"),
        ("at 0.5 us gross is 3 t", 4, "0.5 us", "whole microseconds"),
        ("never within 3 s after 5 s motion is on", 1, "'never' at one moment", "from ... to ..."),
        ("for at least 3 s recorded", 1, "'recorded' for a length of time", "one moment"),
        ("at 3 s for at least 2 s motion is on", 1, "'for at least' at one moment", "within ... after"),
        ("at 3 s gross is gras", 17, "'gras'", "did you mean 'gross'?"),
        ("at 3 s gross is 1e999999999 t", 17, "'1e999999999 t' is out of any range", "kg"),
        ('at 3 s valid with reason "x"', 14, "'with'", "while"),
        ('at 3 s indication is valid with reason "x"', 8, "a reason for a valid indication", "invalid one"),
        ("at 3 s answer of 5 is", 18, "'5'", "the name of a host protocol"),
        ("at 3 s answer of lines is 5", 27, "'5'", 'the answer between " and "'),
        ("during fault 5 motion is on", 14, "'5'", "the name of a fault"),
        ("at 3 s recorded twice", 1, "a number of times here", "count over a stretch"),
        ("never recorded twice", 1, "a number of times here", "count over a stretch"),
        ("always motion is on; net is on", 20, "a stray ';'", "leave it out"),
        ("always motion is on always", 21, "'always' after the statement", "first when and how, then what"),
        ("gross is 3 kg at 3 s", 15, "'at' after the statement", "first when and how, then what"),
        (
            "at 3 s gross is 3 t within 1 d within 2 s after 3 s",
            32,
            "'within' after the statement",
            "first when",
        ),
        ("always gross shall be good", 14, "'shall'", "after 'gross' comes 'is'"),
        ("at 3 s gross above 3 t", 14, "'above'", "'gross is above ...'"),
        ("at 3 s motion on", 15, "'on'", "'motion is on'"),
        ("at 3 s node 1 in flow", 15, "'in'", "'node 1 is flow'"),
        ("at 3 s gross = 0 kg", 14, "the sign '='", "write it in words: 'is'"),
        ("gross > 3 kg", 7, "the sign '>'", "'is above'"),
        ("always gross <= 3 kg", 14, "the sign '<='", "'is at most'"),
        ("always gross ≥ 3 kg", 14, "the sign '≥'", "'is at least'"),
        ("zero and stable is on", 1, "'zero' before 'and'", "one statement a check"),
        ("at 3 s gross is zero and stable is on", 22, "'and'", "one statement a check"),
        ("at 3 s gross is 3 t within 1 d within 2 d", 32, "a second tolerance", "one tolerance"),
        ("at 3 s gross is within 1 d of 3 t within 2 d", 35, "a second tolerance", "one tolerance"),
        ("at 3 s gross is above 3 t within 1 d", 27, "a tolerance here", "gross is 18.4 t within 1 d"),
        ("", 1, "the end of the sentence", "at, within, from"),
        # \u is known to patterns on text, not on the bytes that an answer is.
        (
            'at 3 s answer of x matches "\\\\u0041"',
            28,
            "the pattern '\\\\u0041'",
            "bad escape \\u at position 0",
        ),
        ('at 3 s answer of x matches "(?i-s:a)(?u)b"', 28, "the pattern '(?i-s:a)(?u)b'", "not a regular"),
        ('at 3 s answer of x matches "a{99999999999}"', 28, "the pattern 'a{99999999999}'", "too large"),
        (
            'at 3 s invalid with reason matches "a{99999999999}"',
            36,
            "the pattern 'a{99999999999}'",
            "too large",
        ),
        ('at 3 s answer of x contains ""', 29, "an answer that contains nothing", "every one would do"),
        ('at 3 s answer of x starts with ""', 32, "an answer that starts with nothing", "every one would do"),
        ('at 3 s answer of x matches ""', 28, "an answer that matches nothing", "every one would do"),
        ('at 3 s invalid with reason matches ""', 36, "an empty reason", "every reason would do"),
        ("recorded at least 0 times", 19, "at least 0 times", "'exactly 0 times' or 'never'"),
        ("at 3 s error is within 0.5 %", 8, "0.5 % of zero, which is nothing", "within 0.5 % of true mass"),
        ("at 3 s gross is zero within 10 %", 8, "10 % of zero, which is nothing", "d or kg"),
        ("at 3 s gross is 0 kg within 1 %", 8, "1 % of zero, which is nothing", "d or kg"),
        ("at 3 s gross is not within 1 % of 0 d", 8, "1 % of zero, which is nothing", "d or kg"),
        (
            "from 10 s to 14 s for at least 30 s valid",
            1,
            "'for at least 30 s' in a stretch of 4 s",
            "must last inside that stretch",
        ),
        ("until 2 s for at least 3 s valid", 1, "'for at least 3 s' in a stretch of 2 s", "'within ..."),
        (
            'within 5 s after 3 s answer of x is not "a"',
            1,
            "'is not' at one moment of a stretch",
            "'from ... to ...'",
        ),
    ],
)
def test_a_mistake_is_told_with_its_column(sentence: str, column: int, found: str, right: str) -> None:
    with pytest.raises(SentenceError) as caught:
        parse(sentence)
    error = caught.value
    assert (error.column, error.found) == (column, found)
    assert right in error.right
    assert f"column {column} of {sentence!r}" in str(error)


def test_a_pattern_too_deep_to_be_read_is_refused() -> None:
    with pytest.raises(SentenceError, match="not a regular expression") as caught:
        parse(f'at 3 s answer of x matches "{"(" * 900}a{")" * 900}"')
    assert caught.value.column == 28


@pytest.mark.parametrize("ends", ["5 t and 10 d", "1001 d and 20 t", "20001 kg and 1000 e"])
def test_a_range_is_compared_in_one_unit(ends: str) -> None:
    sentence = f"at 5 s gross is between {ends}"
    assert parse(sentence)  # what d is, is not known here
    with pytest.raises(SentenceError, match="a range that runs backwards"):
        parse(sentence, Known(interval_kg=Decimal(20)))
    there = " and ".join(reversed(ends.split(" and ")))
    assert parse(f"at 5 s gross is between {there}", Known(interval_kg=Decimal(20)))


@pytest.mark.parametrize(
    ("sentence", "right"),
    [
        ("at 5 s cell 7 is 3 t", "cells are numbered 1 to 6"),
        ("at 5 s node 3 is flow", "the host expects nodes at: 1, 2"),
        ('at 5 s answer of scp499 is ""', "did you mean 'scp0499'?"),
    ],
)
def test_what_the_scenario_does_not_have_is_refused_when_it_is_read(sentence: str, right: str) -> None:
    with pytest.raises(SentenceError) as caught:
        parse(sentence, Known(cells=6, nodes=(1, 2), protocols=("scp0499",)))
    assert right in str(caught.value)


def test_a_check_that_goes_on_for_ever_is_refused() -> None:
    with pytest.raises(SentenceError, match="at most 2000"):
        parse("always motion is on " * 1000)


def test_an_error_with_its_place_in_a_file_says_that_instead_of_the_sentence() -> None:
    with pytest.raises(SentenceError) as caught:
        parse("at 5 s grss is 5 t")
    placed = caught.value.at(Place("deck.yaml", 14, 13))
    assert str(placed).startswith("deck.yaml:14:13: 'grss'; did you mean 'gross'?")
    assert isinstance(placed, BadInput)
    assert placed.column == 8
    assert placed.at(Place("other.yaml")) is placed
