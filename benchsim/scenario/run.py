"""One scenario, run on the virtual clock, to verdicts.

A result depends on the file and the seed alone; the wall clock, if anybody wants to know, is passed in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchsim.bench.bench import Bench
from benchsim.checks.judge import Verdict, judge
from benchsim.ground.clock import SECOND_US
from benchsim.ground.errors import BadInput
from benchsim.record.trace import Trace
from benchsim.scenario.blame import place_of_command
from benchsim.scenario.build import Built, assemble
from benchsim.scenario.loader import Scenario, load

STEP_US = 20 * SECOND_US

Progress = Callable[[int, int], None]
"""Called on the way with where the bench stands and where the run ends, in microseconds."""


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one scenario.  passed: no check failed (one without checks passes, and says so)."""

    file: str
    title: str
    seed: int | str
    sim_us: int
    wall_seconds: float
    verdicts: tuple[Verdict, ...]
    trace: Trace

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
) -> Result:
    """Run a scenario file.  seed: instead of the file's own.  record: where to keep the run.

    clock: seconds of the wall, for wall_seconds; without it that is 0.  Raises BadInput, ManyBadInputs.
    """
    began = clock() if clock else 0.0
    scenario = load(path)
    built = assemble(scenario)
    own_seed = scenario.file.seed if seed is None else seed
    bench = Bench(built.plan, built.profile, own_seed)
    _play(bench, built, scenario, progress)
    verdicts = tuple(judge(check, bench.trace, built.profile) for check in built.checks)
    if record is not None:
        _keep(record, bench, scenario, own_seed)
    return Result(
        file=str(scenario.path),
        title=scenario.file.title,
        seed=own_seed,
        sim_us=bench.now_us,
        wall_seconds=clock() - began if clock else 0.0,
        verdicts=verdicts,
        trace=bench.trace,
    )


def _play(bench: Bench, built: Built, scenario: Scenario, progress: Progress | None) -> None:
    """To the end of the run.  What a room refuses on the way gets the place of the item that asked for it."""
    ends_us = built.plan.lasts_us
    try:
        if progress is None:
            bench.run(ends_us)
            return
        while bench.now_us < ends_us:
            bench.run(min(ends_us, bench.now_us + STEP_US))
            progress(bench.now_us, ends_us)
    except BadInput as error:
        loc = place_of_command(error, built.told, bench.now_us)
        raise error.at(scenario.places.of(loc)) from None


def _keep(path: Path, bench: Bench, scenario: Scenario, seed: int | str) -> None:
    raise AssertionError
