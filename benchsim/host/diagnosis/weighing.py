"""Signs to causes: how often each fault shows each word, counted on simulated visits, turned into odds.

For each fault, the chance of all words seen is taken as the product of the chances of each (as if they were
independent), and set against that of a healthy scale.  Signs do hang together, so the logarithm is scaled
down by one factor, found on the same visits, before odds become shares.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from benchsim.host.diagnosis.parts import UNKNOWN, Evidence, Sign

HEALTHY = "healthy"
UNSEEN, KIN = 0.005, 0.1
"""The chance of a word that never came, alike for all faults; and what words lend to those that differ from
them only by how much, since a fault that was seen to make a cell read less can make it read far less."""
_TOGETHER = 0.7  # how much of the logarithm counts, since signs hang together


@dataclass(frozen=True, slots=True)
class Known:
    """What one fault was seen to show.

    target: cell, node, deck, site.  visits: how many were counted.  seen: by sign, how often each word came.
    """

    target: str
    visits: int
    seen: Mapping[str, Mapping[str, int]]

    def chance(self, sign: Sign) -> float:
        """Of a word among the visits that told this sign; a little for those that never came.

        A sign that is not in the table never left its first word, the quiet one.
        """
        words = self.seen.get(sign.name)
        told = self.visits if words is None else sum(words.values())
        came = (self.visits if sign.quiet else 0) if words is None else words.get(sign.word, 0)
        kin = (
            came if words is None else sum(n for word, n in words.items() if _kind(word) == _kind(sign.word))
        )
        whole = max(told, 1)
        return (1.0 - 4.0 * UNSEEN - KIN) * came / whole + KIN / 3.0 * kin / whole + UNSEEN


def _kind(word: str) -> str:
    """What words that differ only by how much have in common: "less" of "a little less" and "far less"."""
    return word if word.endswith("times") else word.rsplit(" ", 1)[-1]


def read_table(table: str) -> dict[str, Known]:
    """The entries of a table of known.py, by name.  Lines that begin with a blank go on."""
    entries = table.strip().replace("\n  ", " ").splitlines()
    made: dict[str, Known] = {}
    for entry in entries:
        name, target, visits, *signs = (part.strip() for part in entry.split("|"))
        seen: dict[str, dict[str, int]] = {}
        for sign in filter(None, signs):
            label, words = sign.split(": ", 1)
            counted = (word.split(" ", 1) for word in words.split(", "))
            seen[label] = {word: int(times) for times, word in counted}
        made[name] = Known(target, int(visits), seen)
    return made


@dataclass(frozen=True, slots=True)
class Weighed:
    """A cause by name, and what speaks for it."""

    name: str
    known: Known
    log_odds: float
    share: float
    evidence: tuple[Evidence, ...]


def weigh(signs: Mapping[str, Sign], known: Mapping[str, Known]) -> list[Weighed]:
    """All faults known, the likeliest first; what could not be told weighs nothing."""
    told = [sign for sign in signs.values() if sign.word != UNKNOWN]
    healthy = known[HEALTHY]
    faults = {name: one for name, one in known.items() if name != HEALTHY}
    weights = {
        name: [Evidence(s, math.log(one.chance(s) / healthy.chance(s))) for s in told]
        for name, one in faults.items()
    }
    totals = {name: sum(e.log_odds for e in evidence) for name, evidence in weights.items()}
    top = max(totals.values())
    shares = {name: math.exp(_TOGETHER * (total - top)) for name, total in totals.items()}
    whole = sum(shares.values())
    return sorted(
        (
            Weighed(
                name, faults[name], totals[name], shares[name] / whole,
                tuple(sorted((e for e in weights[name] if not e.sign.quiet), key=lambda e: -e.log_odds)),
            )
            for name in faults
        ),
        key=lambda w: (-w.log_odds, w.name),
    )  # fmt: skip
