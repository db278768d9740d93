"""What a conformance case is: id, side, purpose, section of the specification, and a script that plays it.

A case is one coroutine function in a file of of_nodes/ or of_hosts/, marked @case: its name makes the id, its
docstring is the purpose.  It ends by itself (conforming) or raises one of the two exceptions of finding.py.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache

from benchsim.ground.errors import BadInput
from benchsim.probe.line import Line
from benchsim.probe.setting import Setting

# What a device that was told nothing of a field of Setting was told, in words.
UNTOLD = {"sealed": "no sealed fingerprint (--sealed)", "rate_hz": "no rate (--told-rate)"}

Script = Callable[[Line], Awaitable[None]]


class Side(StrEnum):
    """Which end is under test."""

    HOST = "host"
    NODE = "node"


@dataclass(frozen=True, slots=True)
class Case:
    """One case.  section: of protocols/nodelink/README.md.  needs: addresses with a device under test.

    told: the field of Setting without which it says nothing: what the device was told of its nodes.
    untold: the one with which it cannot be brought to its point.
    """

    id: str
    side: Side
    purpose: str
    section: str
    script: Script
    needs: int = 1
    told: str = ""
    untold: str = ""

    def fits(self, setting: Setting) -> bool:
        """Whether the device was told what this case is about, and nothing that is in its way."""
        told = not self.told or getattr(setting, self.told) is not None
        return told and (not self.untold or getattr(setting, self.untold) is None)


def case(section: str, needs: int = 1, told: str = "", untold: str = "") -> Callable[[Script], Script]:
    """Marks a script as a case of this section of the specification."""

    def mark(script: Script) -> Script:
        script.__dict__["case"] = (section, needs, told, untold)
        return script

    return mark


@cache
def cases(side: Side) -> dict[str, Case]:
    """All cases of a side by id: file by file, in the order in which they are written."""
    return {found.id: found for found in _cases(side)}


def _cases(side: Side) -> Iterator[Case]:
    folder = importlib.import_module(f"{__package__}.of_{side}s")
    for name in sorted(m.name for m in pkgutil.iter_modules(folder.__path__)):
        module = importlib.import_module(f"{folder.__name__}.{name}")
        for script in vars(module).values():
            marked = getattr(script, "__dict__", {}).get("case")
            if marked is not None and script.__module__ == module.__name__:
                section, needs, told, untold = marked
                purpose = " ".join((script.__doc__ or "").split())
                called = f"{side}-{script.__name__.replace('_', '-')}"
                yield Case(called, side, purpose, section, script, needs, told, untold)


def chosen(side: Side, ids: tuple[str, ...]) -> tuple[Case, ...]:
    """The cases of these ids, or all.  Raises BadInput for an id that there is not."""
    known = cases(side)
    for one in ids:
        if one not in known:
            close = get_close_matches(one, known, n=3) or [i for i in known if one in i][:3]
            right = f"did you mean {' or '.join(close)}? " if close else ""
            raise BadInput(f"unknown case {one!r}", f"{right}--list names all {len(known)}")
    return tuple(known[i] for i in ids) if ids else tuple(known.values())
