"""Tests on words: what a reason says, whole, in part, or by a pattern."""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchsim.checks.tokens import Token, Words


@dataclass(frozen=True, slots=True)
class Wording:
    """A test on words.  how: is, contains or matches (a regular expression)."""

    how: str
    wanted: str

    def meets(self, found: str) -> bool:
        """Reasons are compared without regard to capital letters when contained; bytes never come here."""
        if self.how == "is":
            return found == self.wanted
        if self.how == "matches":
            return re.search(self.wanted, found) is not None
        return self.wanted.lower() in found.lower()


def read_reason(words: Words) -> Wording | None:
    """`with reason [contains | is | matches] "..."`, when it comes next."""
    if not words.accept("with reason"):
        return None
    how = words.accept("contains", "is", "matches") or "contains"
    token = words.here
    wanted = words.quoted("the reason")
    if how == "matches":
        check_pattern(words, token, wanted)
    if not wanted and how != "is":
        raise words.wrong("an empty reason", "every reason would do: write what it says", token)
    return Wording(how, wanted)


def check_pattern(words: Words, token: Token, pattern: str | bytes) -> None:
    """Refuse what is not a regular expression, of the kind (text or bytes) that it will be used as."""
    try:
        re.compile(pattern, re.DOTALL)
    except (re.error, OverflowError, RecursionError) as error:
        why = "too deep" if isinstance(error, RecursionError) else error
        written = pattern if isinstance(pattern, str) else pattern.decode("latin-1")
        shortened = written if len(written) <= 60 else f"{written[:57]}..."
        raise words.wrong(f"the pattern {shortened!r}", f"not a regular expression: {why}", token) from None
