"""Nested values, as YAML and JSON give them: the way to each value inside, and another one put there."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

Way = tuple[str | int, ...]


def ways(value: Any, way: Way = ()) -> Iterator[Way]:
    """The way to every value inside."""
    yield way
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, child in inner:
        yield from ways(child, (*way, step))


def replaced(value: Any, way: Way, new: Any) -> Any:
    """The same with another value at the end of a way."""
    if not way:
        return new
    if isinstance(value, dict):
        return {k: replaced(v, way[1:], new) if k == way[0] else v for k, v in value.items()}
    return [replaced(v, way[1:], new) if i == way[0] else v for i, v in enumerate(value)]
