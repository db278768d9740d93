"""The bench's time keeps to the wall clock by absolute deadlines; a slow bench does not starve the loop."""

from __future__ import annotations

import asyncio
import time
from itertools import pairwise

import pytest

from benchsim.serve.pacing import CLOSE_US, LATE_US, MOST_STEPS_AT_ONCE, STEP_US, Pacer

pytestmark = pytest.mark.real


async def walked(speed: float, until_us: int) -> tuple[list[int], float]:
    """The times to which the bench was walked, up to until_us, and the wall time that went by."""
    times: list[int] = []
    pacer = Pacer(times.append, 1_000, speed)
    began = time.monotonic()
    done = pacer.start()
    while not times or times[-1] < until_us:
        await asyncio.sleep(0.001)
    wall_s = time.monotonic() - began
    pacer.stop()
    await done
    return times, wall_s


@pytest.mark.parametrize("speed", [0.5, 1.0, 20.0])
def test_bench_time_is_wall_time_by_speed_on_whole_steps_and_never_ahead(speed: float) -> None:
    until_us = round(300_000 * speed)
    times, wall_s = asyncio.run(asyncio.wait_for(walked(speed, until_us), 20))
    assert times == sorted(set(times))
    assert all((t - 1_000) % round(STEP_US * speed) == 0 for t in times)
    assert wall_s >= (times[-1] - 1_000) / 1e6 / speed


def test_lateness_does_not_add_up() -> None:
    async def run() -> list[float]:
        loop = asyncio.get_running_loop()
        late_s: list[float] = []

        def step(until_us: int) -> None:
            late_s.append(loop.time() - began - until_us / 1e6)
            time.sleep(0.005)  # each walk costs nearly half a step

        pacer = Pacer(step, 0)
        began = loop.time()
        pacer.start()
        while len(late_s) < 60:
            await asyncio.sleep(0.001)
        pacer.stop()
        return late_s

    late_s = asyncio.run(asyncio.wait_for(run(), 20))
    assert min(late_s) > -0.001
    # Sleeping a step between walks would be 40 x 5 ms = 200 ms late, and more, for each of the last twenty.
    assert min(late_s[-20:]) < 0.1


def test_an_error_of_the_bench_ends_the_pacing_with_that_error() -> None:
    async def broken() -> None:
        def run(_until_us: int) -> None:
            raise ZeroDivisionError("the bench broke")

        await Pacer(run, 0).start()

    with pytest.raises(ZeroDivisionError, match="the bench broke"):
        asyncio.run(broken())


def test_a_bench_too_slow_for_the_speed_says_so_and_leaves_room_for_others() -> None:
    said: list[str] = []
    steps: list[int] = []

    def run(until_us: int) -> None:
        steps.append(until_us)
        time.sleep(0.11)  # a walk of one tenth of a second that takes longer than that

    async def slow() -> int:
        pacer = Pacer(run, 0, 40.0, said.append, step_us=4_000)
        pacer.start()
        turns = 0
        while not said:
            await asyncio.sleep(0)
            turns += 1
        pacer.stop()
        return turns

    turns = asyncio.run(asyncio.wait_for(slow(), 20))
    assert "behind the clock" in said[0]
    assert turns >= len(steps) - 1
    assert max(b - a for a, b in pairwise(steps)) <= MOST_STEPS_AT_ONCE * 4_000 * 40
    assert LATE_US == 1_000_000


def test_what_is_done_meanwhile_finds_the_bench_at_the_present_and_never_ahead() -> None:
    async def run() -> list[tuple[int, int]]:
        loop, walked_to, found = asyncio.get_running_loop(), [0], list[tuple[int, int]]()
        pacer = Pacer(walked_to.append, 0)
        began_s = loop.time()
        done = pacer.start()
        while len(found) < 20:
            await asyncio.sleep(0.007)
            before_us = round((loop.time() - began_s) * 1e6)
            pacer.meanwhile(lambda: found.append((max(walked_to), round((loop.time() - began_s) * 1e6))))
            stands_us = found[-1][0]
            assert stands_us >= min(before_us - 2 * CLOSE_US, MOST_STEPS_AT_ONCE * STEP_US), before_us
        pacer.stop()
        await done
        return found

    found = asyncio.run(asyncio.wait_for(run(), 20))
    assert all(stands_us <= wall_us for stands_us, wall_us in found)
    assert [stands for stands, _ in found] == sorted(stands for stands, _ in found)


def test_an_error_of_what_is_done_meanwhile_ends_the_pacing_with_that_error() -> None:
    async def broken() -> None:
        pacer, done = Pacer(lambda _until_us: None, 0), list[str]()
        future = pacer.start()
        pacer.meanwhile(lambda: 1 // 0)
        pacer.meanwhile(lambda: done.append("more"))
        assert done == []
        await future

    with pytest.raises(ZeroDivisionError):
        asyncio.run(broken())


def test_what_the_bench_asks_for_while_it_walks_is_done_after_that_walk() -> None:
    """A medium may tell of itself while the bench sends on it."""

    async def run() -> list[str]:
        said: list[str] = []

        def walk(_until_us: int) -> None:
            said.append("walks")
            time.sleep(2 * CLOSE_US / 1e6)  # by now the bench is behind the present again
            if len(said) == 1:
                pacer.meanwhile(lambda: said.append("done"))
            said.append("has walked")

        pacer = Pacer(walk, 0)
        done = pacer.start()
        while "done" not in said:
            await asyncio.sleep(0.001)
        pacer.stop()
        await done
        return said

    said = asyncio.run(asyncio.wait_for(run(), 20))
    assert said[:2] == ["walks", "has walked"]
    assert all(after == "has walked" for before, after in pairwise(said) if before == "walks")
