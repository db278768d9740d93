"""What all seeds are made from, and where what makes them is kept."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from benchsim.ground.library import shipped
from benchsim.link.frames import Kind

VECTORS: dict[str, Any] = json.loads(
    (shipped("protocols") / "nodelink" / "vectors.json").read_text(encoding="utf-8")
)
TOLD = [told for part in ("pairing", "refuse", "flow", "resume") for told in VECTORS[part]]
FRAMES = [bytes.fromhex(told["frame"]) for told in TOLD]
BAD = [bytes.fromhex(told["frame"]) for told in VECTORS["bad"]]
STREAM = b"".join(bytes.fromhex(told["stream"]) for told in TOLD)
KINDS = list(Kind)

Seeds = dict[str, bytes]
MADE: dict[str, Callable[[], Seeds]] = {}


def seeds(name: str) -> Callable[[Callable[[], Seeds]], Callable[[], Seeds]]:
    """Marks what makes the seeds of a target."""

    def kept(make: Callable[[], Seeds]) -> Callable[[], Seeds]:
        MADE[name] = make
        return make

    return kept
