"""One family of errors: what was found, where, what would be right.

`BadInput` is the user's file, option or command (exit code 2, never a traceback); `PeerError` is what
the other end of a wire did wrong and carries the answer its protocol owes.  Anything else that escapes
is our own bug and keeps its traceback.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """A spot in a file.  line and column count from 1; 0 means not known."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.line:
            return self.file
        return f"{self.file}:{self.line}:{self.column}"


class BenchsimError(Exception):
    """The family's root."""

    exit_code = 2


class BadInput(BenchsimError):
    """Something a person wrote that cannot be used.

    found: what stands there.  right: what would be right ("" when nothing can be said).
    place: where, or None while the reader that knows the place has not added it yet.
    """

    def __init__(self, found: str, right: str = "", place: Place | None = None) -> None:
        self.found, self.right, self.place = found, right, place
        super().__init__(found, right, place)

    def at(self, place: Place) -> BadInput:
        """The same error with its place; a place that is known already stays."""
        return self if self.place else type(self)(self.found, self.right, place)

    def __str__(self) -> str:
        text = f"{self.found}; {self.right}" if self.right else self.found
        return f"{self.place}: {text}" if self.place else text


class ManyBadInputs(BenchsimError):
    """All that is wrong with one file, told at once."""

    def __init__(self, errors: Iterable[BadInput]) -> None:
        self.errors = tuple(errors)
        super().__init__(self.errors)

    def __str__(self) -> str:
        return "\n".join(map(str, self.errors))


class PeerError(BenchsimError):
    """What a peer did wrong.  answer: the bytes its protocol owes for that (b"" for silence)."""

    def __init__(self, why: str, answer: bytes = b"") -> None:
        self.why, self.answer = why, answer
        super().__init__(why)


def nearest(word: str, allowed: Iterable[str]) -> str:
    """The allowed word most like the one found, or "" when none is like it."""
    close = difflib.get_close_matches(word.lower(), {a.lower(): a for a in allowed}, n=1, cutoff=0.6)
    return next((a for a in allowed if close and a.lower() == close[0]), "")


def _told(word: str) -> str:
    """A word as it may stand in a message of one line: one that cannot be printed as it is, spelt out."""
    return word if word.isprintable() else repr(word)


def unknown(kind: str, word: str, allowed: Iterable[str]) -> BadInput:
    """An unknown word of a kind: names the nearest allowed one or those it is a part of, and all when few."""
    words = sorted(allowed)
    close = nearest(word, words)
    likely = [close] if close else [w for w in words if word and word.lower() in w.lower()]
    hint = f"did you mean {' or '.join(map(repr, likely))}?" if likely else ""
    if len(words) <= 12 or not likely:
        hint = (hint + " " if hint else "") + (
            "known: " + ", ".join(map(_told, words)) if words else "there is none"
        )
    return BadInput(f"unknown {kind} {word!r}", hint)
