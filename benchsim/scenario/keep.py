"""A run's recording: opened before it begins, with all that it was made from.

Apart from run.py, since what writes the container takes a while to load and few runs are kept.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

from benchsim.ground.library import read_text
from benchsim.record.container import Head
from benchsim.record.writer import Recorder
from benchsim.scenario.build import Built, own_profile
from benchsim.scenario.findings import Scenario


def recorder_of(path: Path, scenario: Scenario, built: Built, seed: int | str) -> Recorder:
    """A recorder for one run of a scenario.  Raises BadInput when the file cannot be written."""
    return Recorder(path, _head(scenario, built, seed))


def _head(scenario: Scenario, built: Built, seed: int | str) -> Head:
    """What the recording says of itself."""
    plan, own = built.plan, own_profile(scenario)
    rules = ((own.name, read_text(own)),) if own is not None else ()
    return Head(
        version=version("benchsim"),
        seed=str(seed),
        cells=len(plan.scale.cells),
        interval=plan.host.interval,
        unit=plan.host.unit,
        capacity_d=plan.card.capacity_d,
        profile=built.profile.name,
        title=scenario.file.title,
        sources=((scenario.path.name, scenario.text), *rules),
        lasts_us=plan.lasts_us,
    )
