"""One client's conversation: any octets, cut anywhere, in bounded memory; nothing is ever kept for later."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.readings import Indication, Outcome
from benchsim.outputs.output import Conversation, open_conversation
from benchsim.outputs.scp0499 import LONGEST_LINE
from tests.serve.small_bench import CARD, EMPTY, SmallBench, loaded

UNKNOWN = b"\n?\r"


def client() -> Conversation:
    return open_conversation("scp0499", CARD)


def say(to: Conversation, data: bytes, shown: Indication = EMPTY, done: bool = True) -> bytes:
    """Send octets; every command comes out the same way and changes nothing that is shown."""
    requests = to.receive(data, shown, 0)
    return b"".join(to.answer(r, Outcome(done) if r.command else None, shown, 0) for r in requests)


def test_a_megabyte_without_a_line_end_is_answered_once_and_not_kept() -> None:
    talker = client()
    flood = b"\n" + b"W" * 1_000_000
    tracemalloc.start()
    answers = b"".join(say(talker, flood[i : i + 4096]) for i in range(0, len(flood), 4096))
    kept, _peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert answers == UNKNOWN
    assert kept < 20_000
    assert say(talker, b"\r") == b""
    assert say(talker, b"\nW\r").startswith(b"\nZ1G")


def test_a_megabyte_at_once_is_no_different() -> None:
    talker = client()
    assert say(talker, b"x" * 1_000_000) == UNKNOWN
    assert say(talker, b"x" * 1_000_000 + b"\r\nW\r").startswith(b"\nZ1G")


@pytest.mark.parametrize("length", [LONGEST_LINE, LONGEST_LINE + 1])
def test_a_long_line_is_answered_once_whether_or_not_it_ends(length: int) -> None:
    assert say(client(), b"\n" + b"x" * length + b"\r") == UNKNOWN


OCTETS = st.lists(
    st.sampled_from([b"\n", b"\r", b"\x1b", b"W", b"\nW\r", b"\nT\r", b"\nP\r", b"\nR\r", b"\nT    100.00\r",
                     b"\nB\r", b"x" * 70, b"\xff", b"\n"])
    | st.binary(max_size=12),
    max_size=20,
).map(b"".join)  # fmt: skip


@given(octets=OCTETS, cuts=st.lists(st.integers(1, 9), max_size=60))
def test_cutting_octets_anywhere_changes_no_answer(octets: bytes, cuts: list[int]) -> None:
    whole, cut = client(), client()
    at, answers = 0, b""
    for size in [*cuts, len(octets) + 1]:
        answers += say(cut, octets[at : at + size])
        at += size
    assert answers == say(whole, octets)


@given(octets=st.binary(max_size=400) | OCTETS, done=st.booleans())
def test_any_octets_get_only_well_formed_answers(octets: bytes, done: bool) -> None:
    talker = client()
    answers = say(talker, octets, loaded(900), done) + talker.update(loaded(901), 1)
    assert not answers or (answers.startswith(b"\n") and answers.endswith(b"\r"))
    for answer in answers[1:-1].split(b"\r\n") if answers else []:
        text = answer.decode("ascii")
        assert len(text) == 18 or text == "?" or text == " " * 4 or text[3] == ":"


@given(octets=OCTETS)
def test_no_command_is_kept_for_later(octets: bytes) -> None:
    bench, talker = SmallBench(), client()
    bench.moving = True
    for request in talker.receive(octets, bench.indication, 0):
        outcome = None if request.command is None else bench.do(request.command)
        talker.answer(request, outcome, bench.indication, 0)
    bench.moving = False
    answers: list[bytes] = []
    bench.watch(lambda indication: answers.append(talker.update(indication, bench.now_us)))
    bench.run(5_000_000)
    assert len(answers) == 50
    assert bench.done == []


def statuses(of: Conversation, shown: Indication, times: int = 2) -> list[bytes]:
    """Status and weight field of so many answers to W."""
    return [answer[1:2] + answer[6:16] for answer in (say(of, b"\nW\r", shown) for _ in range(times))]


def test_what_one_client_was_refused_takes_no_digit_from_another() -> None:
    one, other = client(), client()
    failed = replace(loaded(900), zero_error=True, tare_error=True)
    say(one, b"\nZ\r", failed, done=False)
    say(one, b"\nT\r", failed, done=False)
    assert other.update(failed, 0) == b""
    assert statuses(one, failed) == [b"E" + b"-" * 10] * 2
    assert statuses(other, failed) == [b"      18000"] * 2
    assert statuses(client(), failed) == [b"      18000"] * 2


def test_a_zero_error_ends_with_its_condition_and_does_not_come_back_with_another_client_s() -> None:
    talker = client()
    say(talker, b"\nZ\r", replace(loaded(900), zero_error=True), done=False)
    talker.update(loaded(900), 0)
    assert statuses(talker, replace(loaded(900), zero_error=True)) == [b"      18000"] * 2


def test_a_zero_request_that_means_nothing_to_the_scale_is_refused_in_its_own_answer_alone() -> None:
    talker = client()
    assert say(talker, b"\nZ\r", loaded(900), done=False)[1:2] == b"E"
    assert statuses(talker, loaded(900)) == [b"      18000"] * 2


def test_a_refused_tare_is_told_once_to_who_asked_for_it_and_to_nobody_else() -> None:
    talker, failed = client(), replace(loaded(900), tare_error=True)
    assert say(talker, b"\nT\r", loaded(900), done=False)[1:2] == b"T"
    assert talker.update(failed, 1) == b""
    for one in (talker, client(), client()):
        assert statuses(one, failed) == [b"      18000"] * 2


def test_two_clients_repeat_apart() -> None:
    one, other = client(), client()
    say(one, b"\nR\r")
    assert one.update(loaded(5), 1)
    assert not other.update(loaded(5), 1)


def test_a_repeat_survives_a_line_that_is_not_finished() -> None:
    talker = client()
    say(talker, b"\nR\r")
    assert say(talker, b"\nW") == b""
    assert talker.update(loaded(5), 1)
    say(talker, b"\r")
    assert not talker.update(loaded(6), 2)


def test_damaged_octets_are_answered_and_the_line_they_spoiled_is_let_go() -> None:
    talker = client()
    assert say(talker, b"\nT   12") == b""
    assert talker.spoiled() == b"\n!\r"
    assert say(talker, b"345.00\r") == UNKNOWN
