"""How well a diagnosis names faults drawn at random from the whole catalogue, and how often it cries wolf.

Run it by itself: python -m tests.benchmarks.bench_diagnosis [visits per fault] [healthy visits per scale].
Prints rates; nothing is asserted.  Its seeds are others than those that the table was learned from.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from benchsim.faults.fault import STAGES, catalogue
from benchsim.host.diagnosis.diagnose import diagnose
from benchsim.host.diagnosis.known import KNOWN
from benchsim.host.diagnosis.parts import Diagnosis
from tests.host.drawn_faults import SCORE_SEEDS, SHOWS, Drawn, drawn_visits
from tests.host.site_story import LAYOUTS, Visit, built, visit

TOP = 3
ALIKE: tuple[tuple[frozenset[str], str], ...] = (
    (
        frozenset({"swapped-signal", "swapped-excitation"}),
        "either crossing turns the sign of the bridge's output and nothing else",
    ),
    (
        frozenset({"lost-sense", "swapped-sense"}),
        "the converter has no reference it can use, says so, and reads its stop",
    ),
    (
        frozenset({"wet-connector", "damp-nights"}),
        "the same leak; within three minutes a soaking and the first part of a night are both a rise",
    ),
    (
        frozenset({"repeating-bridge", "old-frames"}),
        "a frame that comes again is one of earlier: the host refuses both by the same window",
    ),
    (
        frozenset({"drifting-arm", "zero-shift", "old-zero"}),
        "an arm changed at once, a set, a zero typed in wrongly: a constant beside a span that is right",
    ),
)
"""Faults with one effect on all that a host has, by physics; scored strictly all the same."""
SILENT = frozenset({"outage", "power-loss", "low-supply", "flat-battery", "wrong-strap"})
WHY_SILENT = "only where no frame of the node ever came: a host has nothing of it that could tell them apart"


@dataclass(frozen=True, slots=True)
class Scored:
    """One visit: the fault, its place, and what was named, (name, target), likeliest first.

    silent: no frame of the node at its place ever came.
    """

    name: str
    target: str
    named: tuple[tuple[str, str], ...]
    silent: bool = False

    def hit(self, most: int, alike: bool = False) -> bool:
        """Whether it is among the first so many, name and target both."""
        groups = [*(group for group, _ in ALIKE), *([SILENT] if self.silent else [])]
        names = next((group for group in groups if alike and self.name in group), {self.name})
        return any(name in names and target == self.target for name, target in self.named[:most])

    @property
    def first(self) -> str:
        return self.named[0][0] if self.named else "healthy"


def judged(one: Visit) -> Diagnosis:
    return diagnose(one.case, one.ear.hearing(one.case.addresses, one.case.rate_hz))


def scored(drawn: Drawn, one: Visit) -> Scored:
    nodes = one.ear.hearing(one.case.addresses, one.case.rate_hz).nodes
    silent = any(drawn.target == f"node {a}" and not len(node.first) for a, node in nodes.items())
    named = tuple((cause.name, cause.target) for cause in judged(one).causes)
    return Scored(drawn.fault.fault, drawn.target, named, silent)


def of_fault(name: str, visits: int) -> list[Scored]:
    dice = random.Random(f"score {name}")
    made = drawn_visits(name, LAYOUTS, SCORE_SEEDS, visits, dice)
    return [scored(drawn, ill) for drawn, ill in made]


def of_healthy(name: str, visits: int) -> list[str]:
    """What was named first at a scale on which nothing is wrong; "" for healthy."""
    found = [judged(visit(built(name, seed), seed)) for seed in range(1001, 1001 + visits)]
    return ["" if one.healthy else one.causes[0].name for one in found]


def main(words: Sequence[str]) -> None:
    visits, wells = (int(words[n]) if len(words) > n else default for n, default in ((0, 6), (1, 20)))
    print(f"A fault shows when {SHOWS}.\n")
    with ProcessPoolExecutor(2) as pool:
        healthy = list(pool.map(of_healthy, LAYOUTS, [wells] * len(LAYOUTS)))
        every = list(pool.map(of_fault, catalogue(), [visits] * len(catalogue())))
    _print_faults(every)
    _print_stages([one for each in every for one in each])
    alarms = Counter(name for each in healthy for name in each if name)
    count = sum(map(len, healthy))
    wrong = sum(alarms.values())
    print(f"\nHealthy scales: {wrong} false alarms in {count} visits ({wrong / count:.1%})", dict(alarms))
    print("\nNot to be told apart from what a host has, by physics:")
    for group, why in (*ALIKE, (SILENT, WHY_SILENT)):
        print(f"  {' = '.join(sorted(group))}: {why}")


def _print_faults(visits: list[list[Scored]]) -> None:
    print(f"{'fault':26}{'visits':>7}{'top 1':>7}{f'top {TOP}':>7}  named first, when it was another")
    for name, each in zip(catalogue(), visits, strict=True):
        others = Counter(one.first for one in each if one.first != name)
        place = sum(one.first == name and one.named[0][1] != one.target for one in each)
        text = ", ".join(f"{n} {other}" for other, n in others.most_common(3))
        text += f" ({place} at another place)" if place else ""
        text = text if each else "shows nothing by itself in such a visit"
        text += "" if name in KNOWN else " (not in the table)"
        one, three = sum(e.hit(1) for e in each), sum(e.hit(TOP) for e in each)
        print(f"{name:26}{len(each):7}{one:7}{three:7}  {text}")
    every = [one for each in visits for one in each]
    for most in (1, TOP):
        strict, alike = (sum(e.hit(most, a) for e in every) / max(len(every), 1) for a in (False, True))
        print(f"top {most}: {strict:.1%} by name and place; {alike:.1%} where what is alike counts as one")


def _print_stages(every: list[Scored]) -> None:
    """Who was taken for whom, by stage: a matrix that fits a terminal."""
    stage_of = {name: entry.stage for name, entry in catalogue().items()} | {"healthy": "healthy"}
    columns = (*STAGES, "healthy")
    print("\nstage named first (columns) by stage of the fault (rows)")
    print(f"{'':10}" + "".join(f"{c:>9}" for c in columns))
    for row in STAGES:
        came = Counter(stage_of[e.first] for e in every if stage_of[e.name] == row)
        print(f"{row:10}" + "".join(f"{came[c] or '.':>9}" for c in columns))


if __name__ == "__main__":
    main(sys.argv[1:])
