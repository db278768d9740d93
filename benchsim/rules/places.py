"""Where in a TOML file a key stands: the standard reader gives values without places.

Good for the shape profiles have, [section] lines and one key a line, dotted or not; what it does not find has
the place of the section around it, or the file's.  Each text is gone through once, whatever is asked of it.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

from benchsim.ground.errors import Place

_AT = re.compile(r"^(.*) \(at line (\d+), column (\d+)\)$")
_AT_END = re.compile(r"^(.*) \(at end of document\)$")
_WORD = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_PATH = rf"{_WORD}(?:[ \t]*\.[ \t]*{_WORD})*"
_HEADER = re.compile(rf"[ \t]*\[{{1,2}}[ \t]*({_PATH})[ \t]*\]{{1,2}}[ \t\r]*(?:#.*)?$")
_ASSIGNED = re.compile(rf"[ \t]*({_PATH})[ \t]*=[ \t]*")
_NO_CODE = re.compile(r""" "(?:[^"\\]|\\.)*" | '[^']*' | \#.* """, re.VERBOSE)
_THREE = re.compile(r'"""|' + "'''")


def parse_error_place(error: tomllib.TOMLDecodeError, file: str) -> tuple[Place, str]:
    """The place of a syntax error, and what it is."""
    if match := _AT.match(str(error)):
        return Place(file, int(match[2]), int(match[3])), match[1]
    if match := _AT_END.match(str(error)):
        return Place(file), f"{match[1]} at the end of the file"
    return Place(file), str(error)


@dataclass(frozen=True, slots=True)
class _Spot:
    """line, column, value_column: from 1.  rest: what stands behind "=", strings and comments blanked."""

    line: int
    column: int
    value_column: int = 0
    rest: str = ""


class Places:
    """The places of one file's keys."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self._spots = _spots(text)

    def of(self, *path: str) -> Place:
        """The place of ("zero", "motion_band_d", "value"), as deep as it is found; a value's behind "="."""
        for depth in range(len(path), 0, -1):
            spot = self._spots.get(path[:depth])
            if spot is None:
                continue
            column = spot.column
            if depth == len(path) and path[-1] == "value" and spot.value_column:
                column = spot.value_column
            for word in path[depth:]:
                inside = re.search(rf"(?<![\w-]){re.escape(word)}[ \t]*=[ \t]*", spot.rest)
                if inside:
                    column = spot.value_column + (inside.end() if word == "value" else inside.start())
            return Place(self.file, spot.line, column)
        return Place(self.file)


def _spots(text: str) -> dict[tuple[str, ...], _Spot]:
    """Every header and assignment of a text by its whole path; of several the first."""
    found: dict[tuple[str, ...], _Spot] = {}
    section: tuple[str, ...] = ()
    depth, quote = 0, ""  # of brackets that are open, and the quotes of a string of several lines
    for number, line in enumerate(text.split("\n"), 1):
        if quote or depth > 0:
            quote = _still_quoted(line, quote)
            depth = 0 if quote else max(0, depth + _opened(line))
            continue
        if header := _HEADER.match(line):
            section = _words(header[1])
            found.setdefault(section, _Spot(number, line.index("[") + 1))
        elif assigned := _ASSIGNED.match(line):
            rest = _blanked(line[assigned.end() :])
            spot = _Spot(number, assigned.start(1) + 1, assigned.end() + 1, rest)
            found.setdefault((*section, *_words(assigned[1])), spot)
            quote = _still_quoted(line[assigned.end() :], "")
            depth = 0 if quote else max(0, _opened(line[assigned.end() :]))
    return found


def _words(path: str) -> tuple[str, ...]:
    return tuple(word.strip("\"'") for word in re.findall(_WORD, path))


def _blanked(line: str) -> str:
    """The same columns with strings and comments as blanks."""
    return _NO_CODE.sub(lambda match: "\0" * len(match[0]), line)


def _opened(line: str) -> int:
    code = _blanked(line)
    return sum(code.count(c) for c in "[{") - sum(code.count(c) for c in "]}")


def _still_quoted(line: str, quote: str) -> str:
    """The three quotes that are still open behind a line."""
    for match in _THREE.finditer(line):
        if not quote:
            quote = match[0]
        elif match[0] == quote:
            quote = ""
    return quote
