"""What the verbs share in printing: tables as wide as the terminal, JSON, and nothing else on stdout."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterable, Sequence
from typing import Any

import click
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

PIPED_WIDTH = 110
LEAST_WIDTH = 40
SIMULATED = "Simulated weights: this proves software, never an instrument."


class _Console(Console):
    """rich ends the program itself when nobody reads any more; here that is told in endings.py."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def console(stderr: bool = False) -> Console:
    """A console that invents no colours of its own; piped text has one fixed width, or that of COLUMNS."""
    stream = sys.stderr if stderr else sys.stdout
    width = None if stream.isatty() else _piped_width()
    return _Console(stderr=stderr, highlight=False, markup=False, width=width, soft_wrap=False)


def _piped_width() -> int:
    asked = os.environ.get("COLUMNS", "")
    return max(LEAST_WIDTH, int(asked)) if re.fullmatch("[0-9]{1,5}", asked) else PIPED_WIDTH


def counted(count: int, noun: str) -> str:
    """1 check, 2 checks."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def table(*columns: str, narrow: Iterable[str] = ()) -> Table:
    """A table with a line under its head.  narrow: columns that are never broken."""
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, expand=False)
    unbroken = set(narrow)
    for column in columns:
        made.add_column(column, no_wrap=column in unbroken, overflow="fold")
    return made


def facts(rows: Iterable[tuple[str, str]]) -> Table:
    """Names and what they are, without a head."""
    made = Table(box=None, show_header=False, pad_edge=False)
    made.add_column(style="bold", no_wrap=True)
    made.add_column(overflow="fold")
    for name, text in rows:
        made.add_row(name, Text(text))
    return made


def print_json(document: Any) -> None:
    """One JSON document on stdout."""
    click.echo(json.dumps(document, indent=2, ensure_ascii=False))


def print_table(head: Sequence[str], rows: Iterable[Sequence[str]], narrow: Iterable[str] = ()) -> None:
    """A whole table at once."""
    made = table(*head, narrow=narrow)
    for row in rows:
        made.add_row(*map(Text, row))
    console().print(made)
