"""One queue in exact order."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.clock import Queue, seconds


@given(st.lists(st.integers(0, 20), max_size=30))
def test_things_happen_by_time_and_then_by_the_order_they_were_put_in(times: list[int]) -> None:
    queue, seen = Queue(), list[tuple[int, int]]()
    for number, due in enumerate(times):
        queue.put(due, lambda now, number=number: seen.append((now, number)))  # type: ignore[misc]
    queue.run(100)
    assert seen == sorted((due, number) for number, due in enumerate(times))
    assert queue.now_us == 100


@given(st.lists(st.integers(0, 50), max_size=20), st.lists(st.integers(0, 60), max_size=8))
def test_the_pace_of_the_walk_does_not_show(times: list[int], stops: list[int]) -> None:
    def walked(halts: list[int]) -> list[int]:
        queue, seen = Queue(), list[int]()
        for due in times:
            queue.put(due, seen.append)
        for halt in sorted(halts):
            queue.run(halt)
        queue.run(100)
        return seen

    assert walked(stops) == walked([])


def test_what_an_action_adds_for_now_still_happens_now() -> None:
    queue, seen = Queue(), list[str]()

    def first(now: int) -> None:
        seen.append("first")
        queue.put(now, lambda _: seen.append("added"))

    queue.put(5, first)
    queue.run(5)
    assert seen == ["first", "added"]


def test_time_never_runs_backwards() -> None:
    queue, seen = Queue(), list[int]()
    queue.run(10)
    queue.put(3, seen.append)
    queue.run(10)
    assert seen == [10]
    queue.run(4)
    assert queue.now_us == 10


def test_an_empty_queue_has_nothing_next() -> None:
    assert Queue().next_us() is None


def test_a_time_is_written_exactly() -> None:
    assert [seconds(t) for t in (0, 12_500_000, 1, -250_000)] == ["0 s", "12.5 s", "0.000001 s", "-0.25 s"]
