"""Lines of what happens, for a person or a program; and so few of them that whoever reads can follow.

A client may ask a thousand times a second, and come and go as often: what repeats is told once, then
counted.  Pure: the bench's time is all the time there is.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

SECOND_US = 1_000_000
BURST = 200  # lines of a kind that may come at once
STEADY = 10  # and so many a second after that
FOLDED = ("command", "client")  # the kinds that a client can cause
LEFT_OUT = "more lines were left out: they come faster than can be told"


@dataclass(frozen=True, slots=True)
class Line:
    """Something that happened.

    t_us: bench time.  kind: load, fault, command, link, client or bench.  text: all of it in words.
    subject: what or whom it is about.  done: False when something was refused or went wrong.
    more: how many more such lines were left out.
    """

    t_us: int
    kind: str
    subject: str
    text: str
    done: bool = True
    more: int = 0

    def __str__(self) -> str:
        times = "time" if self.more == 1 else "times"
        return at(
            self.t_us, f"{self.text} (and {grouped(self.more)} more {times})" if self.more else self.text
        )

    def document(self) -> str:
        """As one JSON object in one line."""
        told: dict[str, object] = {
            "kind": self.kind,
            "at_s": self.t_us / SECOND_US,
            "subject": self.subject,
            "text": self.text,
            "done": self.done,
        }
        return compact(told | {"more": self.more} if self.more else told)


def at(t_us: int, text: str) -> str:
    """A line with its bench time in front."""
    return f"{f'{t_us / SECOND_US:.3f} s':<11} {text}"


def compact(document: dict[str, object]) -> str:
    """One JSON object in one line."""
    return json.dumps(document, ensure_ascii=False)


def grouped(count: int) -> str:
    """4311 as "4 311"."""
    return f"{count:,}".replace(",", " ")


@dataclass(slots=True)
class Allowance:
    """How many more lines may be told: BURST at first, then STEADY a second.  second_us: of bench time."""

    second_us: int
    left: float = BURST
    at_us: int = 0

    def spend(self, t_us: int) -> bool:
        """Whether one may be told at this time."""
        self.left = min(BURST, self.left + STEADY * (t_us - self.at_us) / self.second_us)
        self.at_us = t_us
        if self.left < 1:
            return False
        self.left -= 1
        return True


class Folding:
    """Of lines that clients can cause tells each text once a second and not too many; counts the rest.

    What was done and what was refused or went wrong do not crowd each other out.
    second_us: bench time of a second of who reads.
    """

    def __init__(self, second_us: int = SECOND_US) -> None:
        self._second_us = second_us
        self._told: dict[str, Line] = {}  # by text, with how often it came again since
        self._allowed = {key: Allowance(second_us) for key in product(FOLDED, (True, False))}
        self._left_out = dict.fromkeys(self._allowed, 0)
        self._ends_us = 0

    def take(self, line: Line) -> Iterator[Line]:
        """The line, if it is to be told now."""
        if line.kind not in FOLDED:
            yield line
            return
        if not self._told:
            self._ends_us = line.t_us + self._second_us
        if (same := self._told.get(line.text)) is not None:
            self._told[line.text] = replace(same, more=same.more + 1)
        elif self._allowed[line.kind, line.done].spend(line.t_us):
            self._told[line.text] = line
            yield line
        else:
            self._left_out[line.kind, line.done] += 1

    def due(self, now_us: int) -> Iterator[Line]:
        """What was counted, once its second is over.  What goes on repeating is then told once a second."""
        if now_us >= self._ends_us and (self._told or any(self._left_out.values())):
            yield from self.rest(now_us)

    def rest(self, now_us: int) -> Iterator[Line]:
        """What was counted, at once."""
        repeated = [line for line in self._told.values() if line.more]
        self._told = {}
        self._ends_us = now_us + self._second_us
        for line in repeated:
            if self._allowed[line.kind, line.done].spend(now_us):
                self._told[line.text] = replace(line, more=0)
                yield replace(line, t_us=now_us)
            else:
                self._left_out[line.kind, line.done] += line.more
        for (kind, done), count in self._left_out.items():
            if count:
                yield Line(now_us, kind, "", f"{kind}: {grouped(count)} {LEFT_OUT}", done)
        self._left_out = dict.fromkeys(self._allowed, 0)
