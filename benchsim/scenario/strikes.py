"""When a fault strikes that comes and goes: each so often, or at random at a rate.

Random times come from a child stream of the seed named after the fault, so the same seed gives the same times
whatever else is on the timeline.  A strike that falls into another one prolongs it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchsim.ground.clock import seconds
from benchsim.ground.randomness import Dice, Streams
from benchsim.link.runs import Runs
from benchsim.scenario.findings import Findings
from benchsim.scenario.story import FaultItem
from benchsim.scenario.text import Loc

MOST_STRIKES = 5_000
_TICK_US = 1_000
_HOUR_US = 3_600_000_000

Spell = tuple[int, int]


def spells(
    item: FaultItem, until_us: int | None, loc: Loc, findings: Findings, seed: int | str
) -> list[tuple[int, int | None]]:
    """When the fault of an item acts, from and to; None: to the end.  What is wrong goes to findings."""
    whole: list[tuple[int, int | None]] = [(item.at, until_us)]
    if (wrong := _wrong(item)) is not None:
        key, said, right = wrong
        findings.add((*loc, key), said, right, key=True)
        return whole
    if item.lasting is None:
        return whole
    word = "rate" if item.every is None else "every"
    if until_us is None:
        if item.until is None:
            findings.add((*loc, word), f"{word} without until or for", "say how long", key=True)
        return whole
    if item.every is not None:
        found = regular(item.at, until_us, item.every, item.lasting)
    else:
        dice = Streams(seed).dice("strikes", item.as_ or item.fault, item.at)
        found = random(item.at, until_us, float(item.rate or 0), item.lasting, dice)
    if len(found) > MOST_STRIKES:
        findings.add((*loc, word), f"{word}: {len(found)} times", f"at most {MOST_STRIKES}")
        return whole
    return [*found]


def _wrong(item: FaultItem) -> tuple[str, str, str] | None:
    """Which key is wrong about how an item comes and goes, what was found, what would be right."""
    every, rate, lasting = item.every, item.rate, item.lasting
    if every is not None and rate is not None:
        return "rate", "both every and rate", "keep one of them"
    if lasting is None:
        word = "every" if every is not None else "rate"
        right = "say how long each strike lasts: lasting: 20 s"
        return (word, f"{word} without lasting", right) if every or rate else None
    if every is None and rate is None:
        return "lasting", "lasting without every or rate", "add every: 10 min; for a single time say for"
    if every is not None and lasting >= every:
        return (
            "lasting",
            f"lasting: {seconds(lasting)} is no shorter than every",
            f"less than {seconds(every)}",
        )
    return None


def regular(first_us: int, until_us: int, every_us: int, lasting_us: int) -> list[Spell]:
    """Spells from first_us on, one each every_us; none begins at until_us or later, none lasts beyond it."""
    starts = range(first_us, until_us, every_us)
    return [(t_us, min(t_us + lasting_us, until_us)) for t_us in starts]


def random(first_us: int, until_us: int, per_hour: float, lasting_us: int, dice: Dice) -> list[Spell]:
    """Spells whose beginnings are independent of each other, so many an hour on average.

    Gaps are geometric on a grid of 1 ms, which for rare strikes is exponential (a Poisson process).
    """
    return list(_joined(_starts(first_us, until_us, per_hour, dice), lasting_us, until_us))


def _starts(first_us: int, until_us: int, per_hour: float, dice: Dice) -> Iterator[int]:
    runs = Runs(min(1.0, per_hour * _TICK_US / _HOUR_US), dice)
    t_us = first_us + runs.next() * _TICK_US
    while t_us < until_us:
        yield t_us
        t_us += (1 + runs.next()) * _TICK_US


def _joined(starts: Iterable[int], lasting_us: int, until_us: int) -> Iterator[Spell]:
    begun_us = ends_us = -1
    for t_us in starts:
        if begun_us >= 0 and t_us <= ends_us:
            ends_us = t_us + lasting_us
            continue
        if begun_us >= 0:
            yield begun_us, min(ends_us, until_us)
        begun_us, ends_us = t_us, t_us + lasting_us
    if begun_us >= 0:
        yield begun_us, min(ends_us, until_us)
