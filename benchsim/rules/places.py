"""Where in a TOML file a key stands: the standard reader gives values without places.

Good for the shape profiles have, [section] lines and one key a line; falls back to the section's line,
then to the file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence

from benchsim.ground.errors import Place

_AT = re.compile(r"^(.*) \(at line (\d+), column (\d+)\)$")
_AT_END = re.compile(r"^(.*) \(at end of document\)$")


def parse_error_place(error: tomllib.TOMLDecodeError, file: str) -> tuple[Place, str]:
    """The place of a syntax error, and what it is."""
    if match := _AT.match(str(error)):
        return Place(file, int(match[2]), int(match[3])), match[1]
    if match := _AT_END.match(str(error)):
        return Place(file), f"{match[1]} at the end of the file"
    return Place(file), str(error)


def place_of(text: str, file: str, path: Sequence[str]) -> Place:
    """The place of ("zero", "motion_band_d", "value"): as deep as it is found."""
    lines = text.splitlines()
    section, *rest = path
    here = next((i for i, line in enumerate(lines) if _is_header(line, section)), None)
    if here is None:
        return _key_in(lines, range(len(lines)), path, file) or Place(file)
    end = next((i for i in range(here + 1, len(lines)) if lines[i].lstrip().startswith("[")), len(lines))
    found = _key_in(lines, range(here + 1, end), rest, file) if rest else None
    return found or Place(file, here + 1, lines[here].index("[") + 1)


def _is_header(line: str, section: str) -> bool:
    return re.match(rf"\s*\[\s*[\"']?{re.escape(section)}[\"']?\s*\]", line) is not None


def _key_in(lines: list[str], within: range, path: Sequence[str], file: str) -> Place | None:
    key, *inner = path
    for number in within:
        match = re.match(rf"\s*([\"']?{re.escape(key)}[\"']?)\s*=", lines[number])
        if not match:
            continue
        column = match.start(1)
        for word in inner:
            deeper = re.compile(rf"[\"']?{re.escape(word)}[\"']?\s*=\s*").search(lines[number], match.end())
            if deeper:
                column = deeper.end() if word == "value" else deeper.start()
        return Place(file, number + 1, column + 1)
    return None
