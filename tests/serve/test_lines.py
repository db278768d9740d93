"""What clients can cause a thousand times a second is told once and counted, to people and to programs."""

from __future__ import annotations

import json
from collections import deque
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from benchsim.serve.lines import BURST, FOLDED, SECOND_US, STEADY, Folding, Line

REFUSED = Line(0, "command", "zero", "command refused: zero: in motion", done=False)


def told(folding: Folding, lines: list[Line], until_us: int, step_us: int = 12_000) -> list[Line]:
    """What is told of these while the bench walks on in steps."""
    found: list[Line] = []
    waiting = deque(lines)
    for now_us in range(0, until_us + 1, step_us):
        while waiting and waiting[0].t_us <= now_us:
            found += folding.take(waiting.popleft())
        found += folding.due(now_us)
    return found


def test_a_repeat_is_counted_and_told_when_its_second_is_over() -> None:
    flood = [replace(REFUSED, t_us=i * 100) for i in range(4312)]
    assert [str(line) for line in told(Folding(), flood, 3 * SECOND_US)] == [
        "0.000 s     command refused: zero: in motion",
        "1.008 s     command refused: zero: in motion (and 4 311 more times)",
    ]


def test_a_repeat_that_goes_on_is_told_once_a_second() -> None:
    flood = [replace(REFUSED, t_us=i * 1000) for i in range(5000)]
    found = told(Folding(), flood, 7 * SECOND_US)
    assert len(found) == 6
    assert sum(1 + line.more for line in found[:1]) + sum(line.more for line in found[1:]) == 5000


def test_one_that_comes_again_after_its_second_is_a_line_of_its_own() -> None:
    later = replace(REFUSED, t_us=2 * SECOND_US)
    assert told(Folding(), [REFUSED, later], 5 * SECOND_US) == [REFUSED, later]


def test_one_repeat_says_time_and_not_times() -> None:
    assert str(replace(REFUSED, more=1)).endswith("in motion (and 1 more time)")


def test_many_different_lines_are_cut_off_and_the_rest_is_counted() -> None:
    flood = [replace(REFUSED, t_us=i, text=f"preset tare {i} refused") for i in range(BURST + 1000)]
    found = told(Folding(), flood, 3 * SECOND_US)
    assert len(found) == BURST + 1
    assert found[-1].text.startswith("command: 1 000 more lines were left out")


def test_clients_that_come_and_go_do_not_crowd_out_what_is_asked() -> None:
    coming = [Line(i, "client", f"tcp {i}", f"tcp {i}: came") for i in range(300)]
    asked = [replace(REFUSED, t_us=301), Line(302, "client", "tcp 7", "tcp 7: dropped", done=False)]
    found = told(Folding(), [*coming, *asked], 12_000)
    assert found[-2:] == asked
    assert len(found) == BURST + 2


@given(
    st.lists(st.tuples(st.integers(0, 5 * SECOND_US), st.integers(0, 60), st.booleans()), max_size=400),
    st.sampled_from(FOLDED),
)
def test_every_line_is_told_or_counted(asked: list[tuple[int, int, bool]], kind: str) -> None:
    flood = [Line(t_us, kind, "x", f"text {number} {done}", done) for t_us, number, done in sorted(asked)]
    folding = Folding()
    found = [*told(folding, flood, 5_100_000), *folding.rest(6 * SECOND_US)]
    whole = [line for line in found if line.text.startswith("text")]
    left_out = sum(int(line.text.split(" ")[1]) for line in found if line not in whole)
    assert sum(line.more or 1 for line in whole) + left_out == len(flood)


def test_a_flood_that_never_ends_is_told_in_few_lines_a_second() -> None:
    for texts in (1, 100, 10**6):  # the same again and again, in turns, never the same
        flood = [replace(REFUSED, t_us=i * 1000, text=f"text {i % texts}") for i in range(10_000)]
        found = told(Folding(), flood, 10 * SECOND_US)
        assert len(found) <= BURST + 10 * (STEADY + 1)
        assert len([line for line in found if line.t_us >= 9 * SECOND_US]) <= 2 * (STEADY + 1)


def test_what_no_client_can_cause_is_never_folded() -> None:
    link = Line(0, "link", "node 1", "node 1: pairing")
    folding = Folding()
    assert [line for _ in range(100) for line in folding.take(link)] == [link] * 100


def test_at_twice_the_speed_a_second_of_who_reads_is_two_of_the_bench() -> None:
    flood = [replace(REFUSED, t_us=i * SECOND_US // 10) for i in range(40)]
    assert len(told(Folding(2 * SECOND_US), flood, 6 * SECOND_US)) == 3


def test_what_is_left_at_the_end_is_told() -> None:
    folding = Folding()
    found = [line for _ in range(3) for line in folding.take(REFUSED)]
    assert [line.more for line in [*found, *folding.rest(5)]] == [0, 2]
    assert list(folding.rest(6)) == []


def test_a_program_gets_one_object_a_line() -> None:
    one = replace(REFUSED, t_us=1_500_000, more=3)
    assert json.loads(one.document()) == {
        "kind": "command", "at_s": 1.5, "subject": "zero", "text": REFUSED.text, "done": False, "more": 3,
    }  # fmt: skip
    assert "\n" not in replace(one, text="two\nlines").document()
