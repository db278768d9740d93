"""What a target's inputs get to: which functions they enter, and how many of a decoder's lines they run."""

from __future__ import annotations

import inspect
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import CodeType, FrameType, ModuleType
from typing import Any

from tests.fuzz.pieces import Target
from tests.fuzz.targets import TARGETS

Lines = dict[str, set[int]]


def entered(run: Callable[[bytes], None], inputs: Iterable[bytes]) -> set[str]:
    """The functions that some inputs get into: "module.Class.function"."""
    found: set[CodeType] = set()

    def note(frame: FrameType, event: str, _: Any) -> None:
        if event == "call":
            found.add(frame.f_code)

    before = sys.getprofile()
    try:
        for octets in inputs:
            sys.setprofile(note)  # anew: a stack that is full lets go of it
            run(octets)
    finally:
        sys.setprofile(before)
    return {f"{Path(code.co_filename).stem}.{code.co_qualname}" for code in found}


def lines_of(module: ModuleType) -> set[int]:
    """The lines inside a module's functions that can be run."""
    path = str(module.__file__)
    whole = compile(Path(path).read_text("utf-8"), path, "exec")
    return {line for code in _inside(whole) if code.co_flags & inspect.CO_OPTIMIZED for line in _lines(code)}


def _inside(code: CodeType) -> Iterator[CodeType]:
    yield code
    for value in code.co_consts:
        if isinstance(value, CodeType):
            yield from _inside(value)


def _lines(code: CodeType) -> set[int]:
    heads = set() if code.co_name.startswith("<") else {code.co_firstlineno}
    return {line for _, _, line in code.co_lines() if line} - heads


def run_lines(target: Target, inputs: Iterable[bytes], longest_s: float) -> tuple[Lines, int]:
    """Lines run in each decoder's file, and how many inputs there was time for."""
    files = {str(module.__file__) for module in target.decoders}
    found: Lines = defaultdict(set)
    whole: dict[CodeType, set[int]] = {}

    def note(frame: FrameType, event: str, _: Any) -> Any:
        code = frame.f_code
        if code.co_filename not in files:
            return None
        if code not in whole:
            whole[code] = _lines(code)
        if whole[code] <= found[code.co_filename]:
            return None
        if event == "line":
            found[code.co_filename].add(frame.f_lineno)
        return note

    begun, count = time.monotonic(), 0
    before = sys.gettrace()
    sys.settrace(note)
    try:
        for octets in inputs:
            if time.monotonic() - begun > longest_s:
                break
            target.run(octets)
            count += 1
    finally:
        sys.settrace(before)
    return found, count


def told_of(name: str, folders: Iterable[str], longest_s: float) -> str:
    """Lines run of each decoder by a target's inputs, folder by folder: "codec 73/75, ..."."""
    target = TARGETS[name]
    paths = [p for f in folders for p in sorted(Path(f).glob("*"), key=lambda p: p.stat().st_size)]
    found, count = run_lines(target, (path.read_bytes() for path in paths), longest_s)
    told = []
    for module in target.decoders:
        every = lines_of(module)
        reached = len(found[str(module.__file__)] & every)
        told.append(f"{module.__name__.rpartition('.')[2]} {reached}/{len(every)}")
    some = "" if count == len(paths) else f" (by {count} of {len(paths)} inputs)"
    return ", ".join(told) + some
