"""One scenario, run on the virtual clock, to verdicts.

A result depends on the file and the seed alone; the wall clock, if anybody wants to know, is passed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchsim.bench.bench import Bench
from benchsim.checks.judge import Verdict, judge
from benchsim.ground.clock import SECOND_US, seconds
from benchsim.ground.errors import BadInput
from benchsim.link.figures import Way
from benchsim.record.container import FRAMES
from benchsim.record.trace import Trace
from benchsim.scenario.blame import place_of_command, placed
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.findings import Scenario
from benchsim.scenario.loader import load

if TYPE_CHECKING:
    from benchsim.record.writer import Recorder

STEP_US = 20 * SECOND_US

Progress = Callable[[int, int], object]
"""Called at the start, on the way and at the end with where the bench stands and where the run ends, in
microseconds.  When it returns something true, the run stops there."""


class Stopped(Exception):
    """A run that was stopped on its way: no verdict.  Its recording, if any, is whole up to there."""

    def __init__(self, path: Path, now_us: int, ends_us: int, record: Path | None) -> None:
        kept = f"; {record} holds the run up to there" if record else ""
        super().__init__(f"{path}: stopped at {seconds(now_us)} of {seconds(ends_us)}{kept}")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one scenario.  passed: no check failed (one without checks passes, and says so).

    ways: (address, its way to the host) of each node whose radio or cable the file describes.
    """

    file: str
    title: str
    seed: int | str
    sim_us: int
    wall_seconds: float
    verdicts: tuple[Verdict, ...]
    trace: Trace
    ways: tuple[tuple[int, Way], ...] = ()

    @property
    def passed(self) -> bool:
        return all(v.passed for v in self.verdicts)

    def document(self) -> dict[str, Any]:
        """The result as JSON has it."""
        return {
            "file": self.file,
            "title": self.title,
            "seed": self.seed,
            "passed": self.passed,
            "sim_seconds": self.sim_us / SECOND_US,
            "wall_seconds": round(self.wall_seconds, 6),
            "links": [{"node": address, **way.document()} for address, way in self.ways],
            "checks": [
                {
                    "name": v.name,
                    "passed": v.passed,
                    "at_s": None if v.at_us is None else v.at_us / SECOND_US,
                    "expected": v.expected,
                    "found": v.found,
                }
                for v in self.verdicts
            ],
        }


def run(
    path: str | Path,
    seed: int | str | None = None,
    record: Path | None = None,
    progress: Progress | None = None,
    clock: Callable[[], float] | None = None,
    depth: str = FRAMES,
) -> Result:
    """Run a scenario file.  seed: instead of the file's own.  record: where to keep the run.

    depth: how much of it, one of DEPTHS.  clock: seconds of the wall, for wall_seconds; without it that is
    0.  Raises BadInput, ManyBadInputs, and Stopped when progress says so.
    """
    began = clock() if clock else 0.0
    scenario = load(path)
    own_seed = scenario.file.seed if seed is None else seed
    built = assemble(scenario, own_seed)
    bench = _bench(built, scenario, own_seed)
    if record is None:
        _play(bench, built, scenario, progress, None)
    else:
        from benchsim.scenario.keep import recorder_of

        with _kept(record, recorder_of(record, scenario, built, bench, own_seed, depth)) as recorder:
            _play(bench, built, scenario, progress, recorder)
            recorder.finish(bench.trace, bench.now_us)
    if bench.now_us < built.plan.lasts_us:
        raise Stopped(scenario.path, bench.now_us, built.plan.lasts_us, record)
    return Result(
        file=str(scenario.path),
        title=scenario.file.title,
        seed=own_seed,
        sim_us=bench.now_us,
        wall_seconds=clock() - began if clock else 0.0,
        verdicts=tuple(judge(check, bench.trace, built.profile) for check in built.checks),
        trace=bench.trace,
        ways=built.ways,
    )


def _bench(built: Built, scenario: Scenario, seed: int | str) -> Bench:
    try:
        return Bench(built.plan, built.profile, seed)
    except BadInput as error:
        raise placed(error, scenario.file, scenario.places) from None


@contextmanager
def _kept(record: Path, recorder: Recorder) -> Iterator[Recorder]:
    """A run that is kept in a file.  Whatever breaks in has it noted that the file is cut short."""
    with recorder:
        try:
            yield recorder
        except BaseException as error:
            error.add_note(f"{record}: the recording is cut short")
            raise


def _play(
    bench: Bench, built: Built, scenario: Scenario, progress: Progress | None, recorder: Recorder | None
) -> None:
    """To the end of the run, or until it is stopped.

    What a room refuses on the way gets the place of the item that asked for it.
    """
    ends_us = built.plan.lasts_us
    step_us = STEP_US if progress or recorder else ends_us
    while not (progress and progress(bench.now_us, ends_us)) and bench.now_us < ends_us:
        _walk(bench, min(ends_us, bench.now_us + step_us), built, scenario)
        if recorder is not None:
            recorder.take(bench.trace, bench.now_us)


def _walk(bench: Bench, until_us: int, built: Built, scenario: Scenario) -> None:
    try:
        bench.run(until_us)
    except BadInput as error:
        loc = place_of_command(error, built.told, bench.now_us)
        raise error.at(scenario.places.of(loc)) from None
