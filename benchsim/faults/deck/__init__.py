"""Faults of the load receptor and its supports: each takes a Receptor and gives a changed one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchsim.ground.errors import BadInput
from benchsim.scale.parts import Receptor, Support


def changed_support(part: Receptor, name: str, number: int, change: Callable[[Support], Support]) -> Receptor:
    """The receptor with one support changed, counted from 1.  BadInput: there is none of that number."""
    count = len(part.supports)
    if number > count:
        raise BadInput(f"{name} on support {number}", f"this receptor has {count} supports")
    supports = list(part.supports)
    supports[number - 1] = change(supports[number - 1])
    return replace(part, supports=tuple(supports))
