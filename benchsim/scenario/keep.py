"""A run's recording: opened before it begins, with all that it was made from.

Apart from run.py, since what writes the container takes a while to load and few runs are kept.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

from benchsim.bench.bench import Bench
from benchsim.ground.library import profiles_folder, read_text
from benchsim.link.parts import NodeCard
from benchsim.record.container import FRAMES, Head
from benchsim.record.writer import Recorder
from benchsim.rules.profile import Profile
from benchsim.scenario.build import Built
from benchsim.scenario.findings import Scenario


def recorder_of(
    path: Path, scenario: Scenario, built: Built, bench: Bench, seed: int | str, depth: str
) -> Recorder:
    """A recorder for one run of a scenario, which has not begun.  depth: one of DEPTHS.

    Raises BadInput when the file cannot be written.
    """
    recorder = Recorder(path, _head(scenario, built, seed, depth))
    if depth == FRAMES:
        bench.tap(recorder.frames.append)
    return recorder


def _head(scenario: Scenario, built: Built, seed: int | str, depth: str) -> Head:
    """What the recording says of itself."""
    plan = built.plan
    return Head(
        version=version("benchsim"),
        seed=str(seed),
        cells=len(plan.scale.cells),
        interval=plan.host.interval,
        unit=plan.host.unit,
        capacity_d=plan.card.capacity_d,
        profile=built.profile.name,
        title=scenario.file.title,
        sources=((scenario.path.name, scenario.text), *_rules(built.profile)),
        lasts_us=plan.lasts_us,
        depth=depth,
        nodes=tuple(_in_words(node.card, i < len(plan.scale.stations)) for i, node in enumerate(plan.nodes)),
    )


def _rules(profile: Profile) -> list[tuple[str, str]]:
    """The files of the rule profile that do not ship; of two with the same name one gets a longer one."""
    kept: dict[str, str] = {}
    for path in map(Path, profile.files):
        if path.parent != profiles_folder():
            name = path.name
            while name in kept:
                name = f"base-{name}"
            kept[name] = read_text(path)
    return list(kept.items())


def _in_words(card: NodeCard, reads: bool) -> str:
    """Who a node is, as it begins: faults may change it on the way.  Nothing of its key."""
    said = f"serial number {card.serial:016X}, address {card.strap}, network {card.network}"
    return said if reads else f"{said}, reads no cell"
