"""Counts what each fault shows on simulated visits, and writes the table that a diagnosis weighs by.

Run it when faults were added or signs changed: python -m tests.benchmarks.learn_diagnosis [visits
[fault ...]].  Its seeds are others than those that bench_diagnosis.py scores by.
"""

from __future__ import annotations

import random
import re
import sys
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchsim.faults.fault import catalogue
from benchsim.host.diagnosis import known
from benchsim.host.diagnosis.diagnose import WORDS, seen
from benchsim.host.diagnosis.parts import UNKNOWN
from benchsim.host.diagnosis.weighing import HEALTHY
from tests.host.drawn_faults import LEARN_SEEDS, drawn_visits
from tests.host.site_story import LAYOUTS, Visit, built, visit

LEARNS_FROM, LEAST = "learn", 2
"""A name for its dice; and a fault that shows itself in fewer visits is not in the table."""


def words_of(visits: Iterable[Visit]) -> tuple[int, dict[str, Counter[str]]]:
    """How many visits, and how often each word of each sign came."""
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    number = 0
    for one in visits:
        number += 1
        signs = seen(one.case, one.ear.hearing(one.case.addresses, one.case.rate_hz)).signs
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
    target = made[0][0].target.removeprefix("the ").split()[0].replace("cells", "pair") if made else ""
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


def main(words: Sequence[str]) -> None:
    """All faults, or those named; entries of others stay as they are, those of faults that are gone go."""
    visits = int(words[0]) if words else 30
    path = Path(known.__file__)
    head, rest = path.read_text().split('TABLE = """\n')
    table, foot = rest.split('"""\n', 1)
    entries = {one.split(" | ", 1)[0]: one for one in re.split(r"\n(?! )", table.strip())}
    every = [HEALTHY, *catalogue()]
    names = list(words[1:]) or every
    with ProcessPoolExecutor(2) as pool:
        for name, target, number, counted in pool.map(learned, names, [visits] * len(names)):
            print(f"{name}: {number} visits", flush=True)
            entries.pop(name, None)
            if number >= LEAST:
                entries[name] = line(name, target, number, counted)
            lines = [entries[one] for one in every if one in entries]
            path.write_text(head + 'TABLE = """\n' + "\n".join(lines) + '\n"""\n' + foot)


if __name__ == "__main__":
    main(sys.argv[1:])
