"""Whatever is written as a check: it is read, or refused with a column that lies in the sentence."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.checks.explain import quoted
from benchsim.checks.forms import FORMS
from benchsim.checks.judge import judge
from benchsim.checks.sentence import parse
from benchsim.checks.statements import COMMANDS, CONDITIONS, FLAGS, STEPS, AnswerIs
from benchsim.checks.tokens import SentenceError
from benchsim.rules.profile import load_profile
from tests.record.runs import run

EXAMPLES = [form.example for form in FORMS]
WORDS = sorted({word for example in EXAMPLES for word in example.split(" ")})
PROFILE = load_profile("r76-iii")
RUN = run(20, lambda t: t // 500_000)


def read_or_refused(sentence: str) -> bool:
    try:
        check = parse(sentence)
    except SentenceError as caught:
        error = caught
    else:
        judge(check, RUN, PROFILE)
        return True
    assert 1 <= error.column <= len(sentence) + 1
    assert error.found
    assert error.sentence == sentence
    return False


@given(st.lists(st.sampled_from(WORDS), max_size=14).map(" ".join))
def test_words_in_any_order_are_read_or_refused(sentence: str) -> None:
    read_or_refused(sentence)


@given(st.text(st.one_of(st.sampled_from(string.printable), st.characters()), max_size=60))
def test_any_text_is_read_or_refused(sentence: str) -> None:
    read_or_refused(sentence)


@given(st.sampled_from(EXAMPLES), st.data())
def test_a_sentence_that_was_cut_or_changed_is_read_or_refused(example: str, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(example)))
    end = data.draw(st.integers(start, len(example)))
    put = data.draw(st.text(st.sampled_from(string.printable), max_size=3))
    read_or_refused(example[:start] + put + example[end:])


@pytest.mark.parametrize("example", EXAMPLES)
def test_spaces_and_capitals_do_not_matter(example: str) -> None:
    plain = parse(example)
    if '"' not in example and "fault" not in example:
        units = ("s", "ms", "t", "kg", "d", "%")
        loud = "  ".join(w if w in units else w.upper() for w in example.split(" "))
        assert (parse(f" {loud} ").when, parse(loud).manner) == (plain.when, plain.manner)
        assert type(parse(loud).statement) is type(plain.statement)


TIMES = st.sampled_from(
    ["at 1 s", "within 1 s after 0.5 s", "from 0.5 s to 1.5 s", "until 1 s", "always", "never", "at the end",
     "never for more than 1 s", "for at least 0.5 s", "from 1 s on"]
)  # fmt: skip
WEIGHT = st.sampled_from(["gross", "net", "shown", "true mass", "error", "cell 4", "fine gross"])
MASS = st.sampled_from(["5 d", "18.4 t", "-3 kg", "zero", "true mass", "cell 1"])
STATES = st.one_of(
    st.builds("{} is {}".format, st.sampled_from(sorted(FLAGS)), st.sampled_from(["on", "off", "not on"])),
    st.builds("indication is {}".format, st.sampled_from(sorted(CONDITIONS))),
    st.builds("node {} is {}".format, st.integers(1, 16), st.sampled_from(STEPS)),
    st.builds(
        "{} is {} within {}".format, WEIGHT, MASS, st.sampled_from(["1 d", "mpe", "2 %", "3 kg"])
    ).filter(lambda state: "zero within 2 %" not in state),
    st.builds("{} is {} {}".format, WEIGHT, st.sampled_from(["above", "not below", "at most"]), MASS),
    st.builds("{} is steady for {} ms".format, WEIGHT, st.integers(0, 3000)),
)


@given(TIMES, STATES, st.lists(STATES, max_size=2))
def test_every_sentence_that_keeps_to_the_table_is_read_and_judged(
    time: str, state: str, conditions: list[str]
) -> None:
    while_words = f" while {' and '.join(conditions)}" if conditions else ""
    assert read_or_refused(f"{time} {state}{while_words}")


@given(st.sampled_from(COMMANDS), st.sampled_from(["done", "refused", 'refused with reason "x"']))
def test_every_command_can_be_asked_for(command: str, outcome: str) -> None:
    assert read_or_refused(f"always command {command} is {outcome}")


@given(st.binary(max_size=40))
def test_any_bytes_can_be_written_as_an_answer(octets: bytes) -> None:
    statement = parse(f"at 1 s answer of lines is {quoted(octets)}").statement
    assert isinstance(statement, AnswerIs)
    assert statement.wanted == octets
