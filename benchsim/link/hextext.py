"""Hexadecimal text to octets: as people paste it, or as a dump with offsets in front of each line.

Pure: text in, the octets of each line out.  Raises BadInput that names line and column.
"""

from __future__ import annotations

import re

from benchsim.ground.errors import BadInput

_BETWEEN = re.compile(r"0[xX]|[\s:,;\-]")
# "00000010: 0102 0304  ....", or "00000010  01 02  03 04  |....|"
_DUMPS = (
    re.compile(r"([0-9a-fA-F]{4,}):((?: (?:[0-9a-fA-F]{2}){1,2})+)(?:  .*)?$"),
    re.compile(r"([0-9a-fA-F]{4,})(?: ((?: {1,2}[0-9a-fA-F]{2})+)(?: *\|.*\|)?)?$"),
)
_TEXT = frozenset(b"\t\n\r" + bytes(range(0x20, 0x7F)))


def is_text(octets: bytes) -> bool:
    """Whether these octets are plain characters: no capture of frames is, since each has a zero or a code."""
    return bool(octets) and _TEXT.issuperset(octets)


def octets_of_lines(text: str) -> list[bytes]:
    """The octets of each line that has any."""
    numbered = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    lines = _dump([line.rstrip() for _, line in numbered]) or [_plain(line, n) for n, line in numbered]
    return [line for line in lines if line]


def _dump(lines: list[str]) -> list[bytes] | None:
    """A dump in one piece, None when the text is none: each line must begin where the last one ended."""
    for pattern in _DUMPS:
        octets = bytearray()
        for line in lines:
            match = pattern.match(line)
            if match is None or int(match[1], 16) != len(octets):
                break
            octets += bytes.fromhex(match[2] or "")
        else:
            if octets:
                return [bytes(octets)]
    return None


def _plain(line: str, number: int) -> bytes:
    digits = _BETWEEN.sub("", line)
    if wrong := re.search(r"[^0-9a-fA-F]", digits):
        column = line.index(wrong[0]) + 1
        raise BadInput(
            f"line {number}, column {column}: {wrong[0]!r} is no hexadecimal digit",
            "hexadecimal text, a dump of it, raw octets or pcapng can be read",
        )
    if len(digits) % 2:
        raise BadInput(f"line {number}: {len(digits)} hexadecimal digits", "an octet is two")
    return bytes.fromhex(digits)
