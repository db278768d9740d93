"""All targets by name: what a fuzzer drives and what the tests replay."""

from __future__ import annotations

from pathlib import Path

from tests.fuzz import of_ends, of_files, of_frames, of_octets, of_words
from tests.fuzz.pieces import Target

HERE = Path(__file__).parent
SEEDS, FINDS = HERE / "seeds", HERE / "finds"

TARGETS: dict[str, Target] = {
    **of_octets.TARGETS,
    **of_frames.TARGETS,
    **of_ends.TARGETS,
    **of_words.TARGETS,
    **of_files.TARGETS,
}


def inputs(name: str) -> list[Path]:
    """The seeds of a target, and what was once found with it."""
    return [path for folder in (SEEDS, FINDS) for path in sorted((folder / name).glob("*"))]
