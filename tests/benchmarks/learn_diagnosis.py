"""Counts what each fault shows on simulated visits, and writes the table that a diagnosis weighs by.

Run it when faults were added or signs changed: python -m tests.benchmarks.learn_diagnosis [visits].  Its
seeds are others than those that bench_diagnosis.py scores by.
"""

from __future__ import annotations

import random
import sys
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchsim.faults.fault import catalogue
from benchsim.host.diagnosis import known
from benchsim.host.diagnosis.diagnose import WORDS, seen
from benchsim.host.diagnosis.parts import UNKNOWN
from benchsim.host.diagnosis.weighing import HEALTHY
from tests.host.drawn_faults import LEARN_SEEDS, drawn_visits
from tests.host.site_story import LAYOUTS, Visit, built, visit

LEARNS_FROM = "learn"
TARGETS = {"wiring": "cell", "link": "node"}


def words_of(visits: Iterable[Visit]) -> tuple[int, dict[str, Counter[str]]]:
    """How many visits, and how often each word of each sign came."""
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    number = 0
    for one in visits:
        number += 1
        _, signs, _, _ = seen(one.case, one.ear.columns(one.case.addresses, one.case.rate_hz))
        for sign in (s for s in signs.values() if s.word != UNKNOWN):
            counted[sign.name][sign.word] += 1
    return number, counted


def learned(name: str, visits: int) -> tuple[str, str, int, dict[str, Counter[str]]]:
    """Name, kind of target, visits and words of one fault, or of healthy scales."""
    dice = random.Random(f"{LEARNS_FROM} {name}")
    if name == HEALTHY:
        scales = [(layout, seed) for layout in LAYOUTS for seed in LEARN_SEEDS]
        return name, "", *words_of(visit(built(layout, seed), seed) for layout, seed in scales)
    made = drawn_visits(name, LAYOUTS, LEARN_SEEDS, visits, dice)
    stage = catalogue()[name].stage
    cells = sum(drawn.target.startswith("cell") for drawn, _ in made)
    target = "cell" if cells else TARGETS.get(stage, stage)
    return name, target, *words_of(ill for _, ill in made)


def line(name: str, target: str, visits: int, counted: dict[str, Counter[str]]) -> str:
    """One fault's entry; a sign that never left its first word is left out, and counts as that."""
    parts = []
    for sign, words in WORDS.items():
        came = counted.get(sign, Counter())
        if came and set(came) != {words[0]}:
            parts.append(f"{sign}: " + ", ".join(f"{n} {word}" for word, n in came.most_common()))
    text = f"{name} | {target or '-'} | {visits} | " + " | ".join(parts)
    return "\n".join(textwrap.wrap(text, 108, subsequent_indent="  ", break_on_hyphens=False))


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    names = [HEALTHY, *catalogue()]
    path = Path(known.__file__)
    with ProcessPoolExecutor(2) as pool:
        lines = []
        for name, target, number, counted in pool.map(learned, names, [visits] * len(names)):
            print(f"{name}: {number} visits", flush=True)
            if number >= 4:
                lines.append(line(name, target, number, counted))
    head, rest = path.read_text().split('TABLE = """\n')
    path.write_text(head + 'TABLE = """\n' + "\n".join(lines) + '\n"""\n' + rest.split('"""\n', 1)[1])


if __name__ == "__main__":
    main()
