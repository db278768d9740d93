"""One frame of the node link for people: a head, why it is bad, and its fields beside their octets."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import zip_longest

from rich.text import Text

from benchsim.cli.text import counted
from benchsim.link.explain import Explained, Field
from benchsim.link.limits import LONGEST_FRAME

WIDTH, PLACE, LEFT, NAME = 80, 8, 35, 18
MARGIN = " " * (PLACE + 2)
OCTETS_A_LINE = 8
SHOWN_OF_NOISE = 32


def block(frame: Explained, label: str, whereabouts: str = "") -> Text:
    """One frame: a head, where it was seen, why it is bad, and its fields beside their octets."""
    made = brief(frame, label, whereabouts)
    for field in frame.fields:
        for line in _lines(field):
            made.append(line.rstrip() + "\n")
    return made


def brief(frame: Explained, label: str, whereabouts: str = "") -> Text:
    """The same without its fields."""
    told = [frame.kind, frame.direction, counted(frame.octets, "octet"), label]
    made = Text.assemble(
        (f"{frame.offset:>{PLACE}}  ", "dim"),
        (", ".join(filter(None, told)), "bold"),
        "  ",
        ("good", "green") if frame.valid else ("BAD", "bold red"),
        "\n",
    )
    for said in filter(None, (whereabouts, frame.why)):
        for line in textwrap.wrap(said, WIDTH, initial_indent=MARGIN, subsequent_indent=MARGIN):
            made.append(line + "\n")
    return made


def _lines(field: Field) -> Iterator[str]:
    """Octets on the left, eight a line, each line with its offset; name and meaning on the right.

    Of what is longer than any frame only the beginning is shown: the file has the rest, and so has JSON.
    """
    shown = len(field.octets) if len(field.octets) <= LONGEST_FRAME else SHOWN_OF_NOISE
    left = [
        f"{field.places[n]:>{PLACE}}  {field.octets[n : n + OCTETS_A_LINE].hex(' ')}"
        for n in range(0, shown, OCTETS_A_LINE)
    ]
    if shown < len(field.octets):
        left.append(f"{MARGIN}and {len(field.octets) - shown} more")
    for place, name, text in zip_longest(left, [field.name], _texts(field), fillvalue=""):
        yield f"{place:<{LEFT}}{name:<{NAME}}{text}"


def _texts(field: Field) -> list[str]:
    """Value and meaning, in lines; octets and lists by their meaning alone, samples row by row as well."""
    said = [field.meaning]
    if isinstance(field.value, int) and field.name != "crc":
        said = [f"{field.value}, {field.meaning}" if field.meaning else str(field.value)]
    if field.name == "samples" and isinstance(field.value, list):
        said += (f"{n}: {' '.join(map(str, row))}" for n, row in enumerate(field.value))
    return [
        line for text in said for line in textwrap.wrap(text, WIDTH - LEFT - NAME, subsequent_indent="  ")
    ]
