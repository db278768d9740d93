"""A check's sentence cut into words, numbers and quoted text, each with its column.

Whoever reads a sentence walks it with `Words`; everything that can be wrong with a word is said here,
so every error has the column, what was found, what would be right and the nearest known word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.errors import BadInput, Place, nearest
from benchsim.ground.units import in_any_range

LONGEST = 2000
_TOKEN = re.compile(
    r"""\s*(?:(?P<text>"(?:[^"\\]|\\.)*")
          |(?P<number>[+\-−]?(?:\d[\d_]*(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?(?![\d.,]))
          |(?P<word>[^\W\d_][\w/‰√-]*|[%‰°][\w/]*)
          |(?P<stray>\S))""",
    re.VERBOSE,
)
LONGEST_WHOLE = 18
_ESCAPE = re.compile(r"\\(x[0-9a-fA-F]{2}|.)", re.DOTALL)
_ESCAPES = {"n": "\n", "r": "\r", "t": "\t", "0": "\0", "\\": "\\", '"': '"'}
SIGNS = {
    ">=": "is at least", "=>": "is at least", "≥": "is at least", "<=": "is at most", "=<": "is at most",
    "≤": "is at most", "!=": "is not", "<>": "is not", "≠": "is not", "==": "is", "=": "is",
    ">": "is above", "<": "is below", "±": "within", "+-": "within", "&": "while", "≈": "is",
}  # fmt: skip


class SentenceError(BadInput):
    """A check that cannot be read.  column: where in the sentence, from 1.  sentence: the whole of it."""

    def __init__(
        self, found: str, right: str = "", place: Place | None = None, column: int = 1, sentence: str = ""
    ) -> None:
        super().__init__(found, right, place)
        self.column, self.sentence = column, sentence

    def at(self, place: Place) -> SentenceError:
        """The same error with its place in a file (the place of its own column, not the sentence's)."""
        if self.place:
            return self
        return SentenceError(self.found, self.right, place, self.column, self.sentence)

    def __str__(self) -> str:
        if self.place:
            return super().__str__()
        return f"column {self.column} of {self.sentence!r}: {super().__str__()}"


@dataclass(frozen=True, slots=True)
class Token:
    """kind: word, number, text or end.  text: as written.  column: of its first character, from 1."""

    kind: str
    text: str
    column: int

    def __str__(self) -> str:
        return "the end of the sentence" if self.kind == "end" else repr(self.text)


class Words:
    """A sentence with a finger on its next word."""

    def __init__(self, sentence: str) -> None:
        self.sentence = sentence
        if len(sentence) > LONGEST:
            raise SentenceError(
                f"a check of {len(sentence)} characters", f"at most {LONGEST}", sentence=sentence[:40] + "…"
            )
        self.tokens = self._cut(sentence)
        self._next = 0

    def _cut(self, sentence: str) -> list[Token]:
        tokens: list[Token] = []
        position = 0
        while match := _TOKEN.match(sentence, position):
            kind = str(match.lastgroup)
            token = Token(kind, match.group(kind), match.start(kind) + 1)
            if kind == "stray":
                raise self._stray(token)
            tokens.append(token)
            position = match.end()
        return [*tokens, Token("end", "", len(sentence.rstrip()) + 1)]

    def _stray(self, token: Token) -> SentenceError:
        if token.text == '"':
            return self.wrong("a quotation that does not end", 'close it with "', token)
        if token.text.isdigit():
            return self.wrong(
                "a number that cannot be read",
                "write it with a decimal point and without commas: 1234.5",
                token,
            )
        for sign in (self.sentence[token.column - 1 : token.column + 1], token.text):
            if sign in SIGNS:
                return self.wrong(f"the sign {sign!r}", f"write it in words: {SIGNS[sign]!r}", token)
        return self.wrong(f"a stray {token.text!r}", 'leave it out, or put text between " and "', token)

    @property
    def here(self) -> Token:
        return self.tokens[self._next]

    @property
    def rest(self) -> list[Token]:
        """The next word and all that follow."""
        return self.tokens[self._next :]

    @property
    def behind(self) -> Token:
        """The word after the next one."""
        return self.tokens[min(self._next + 1, len(self.tokens) - 1)]

    def take(self) -> Token:
        token = self.here
        self._next = min(self._next + 1, len(self.tokens) - 1)
        return token

    def sees(self, phrase: str) -> bool:
        """Whether the next words are these."""
        words = phrase.split()
        ahead = self.tokens[self._next : self._next + len(words)]
        return [t.text.lower() for t in ahead if t.kind == "word"] == words

    def sees_any(self, *phrases: str) -> bool:
        """Whether one of these phrases comes next."""
        return any(map(self.sees, phrases))

    def accept(self, *phrases: str) -> str:
        """Take the first of these phrases that comes next, and say which; "" when none does."""
        for phrase in phrases:
            if self.sees(phrase):
                self._next += len(phrase.split())
                return phrase
        return ""

    def expect(self, *phrases: str, also: Iterable[str] = ()) -> str:
        """The same, but one of them must come.  also: what else would have been right here."""
        return self.accept(*phrases) or self._refuse((*phrases, *also))

    def verb(self, subject: str, example: str) -> None:
        """The word `is`, which comes after the subject of every statement about a state."""
        if not self.accept("is"):
            raise self.wrong(str(self.here), f"after {subject!r} comes 'is', as '{subject} {example}'")

    def _refuse(self, allowed: tuple[str, ...]) -> str:
        raise self.unexpected(allowed)

    def unexpected(self, allowed: Iterable[str], what: str = "") -> SentenceError:
        """The next word is none of the allowed ones."""
        words = list(dict.fromkeys(allowed))
        here = self.tokens[self._next : self._next + 3]
        spoken = (" ".join(t.text for t in here[:count]) for count in (1, 2, 3))
        close = next((n for n in (nearest(text, words) for text in spoken) if n), "")
        hint = f"did you mean {close!r}?" if close and self.here.kind == "word" else ""
        right = hint
        if len(words) <= 12 or not hint:
            right = f"{hint} {what or 'right here'}: {', '.join(words)}".strip()
        return self.wrong(str(self.here), right)

    def wrong(self, found: str, right: str, token: Token | None = None) -> SentenceError:
        """An error at a word (the next one when none is given)."""
        column = (token or self.here).column
        return SentenceError(found, right, column=column, sentence=self.sentence)

    def number(self, what: str) -> tuple[Decimal, Token]:
        """A number, and the token it was; infinity for one beyond what a Decimal holds."""
        if self.here.kind != "number":
            raise self.wrong(str(self.here), f"{what}, as {what_example(what)!r}")
        token = self.take()
        try:
            number = Decimal(token.text.replace("−", "-").replace("_", ""))
        except ArithmeticError:
            number = Decimal("inf")
        return number, token

    def bounded(self, value: Decimal, token: Token, what: str) -> Decimal:
        """The same number.  Raises SentenceError for one that no figure can have."""
        if not in_any_range(value):
            raise self.wrong(f"{token.text} is out of any range", f"{what}, as {what_example(what)!r}", token)
        return value

    def whole(self, what: str) -> int:
        """A whole number from 0."""
        token = self.here
        if token.kind != "number" or not token.text.isdigit() or len(token.text) > LONGEST_WHOLE:
            raise self.wrong(str(token), f"{what}: a whole number")
        return int(self.take().text)

    def quoted(self, what: str) -> str:
        """A text between quotation marks, its escapes resolved."""
        token = self.here
        if token.kind != "text":
            raise self.wrong(str(token), f'{what} between " and "')
        self.take()

        def plain(match: re.Match[str]) -> str:
            code = match.group(1)
            if code[0] == "x" and len(code) == 3:
                return chr(int(code[1:], 16))
            if code not in _ESCAPES:
                inside = Token("text", token.text, token.column + 1 + match.start())
                raise self.wrong(
                    f"an unknown escape \\{code}", 'known: \\n \\r \\t \\0 \\\\ \\" and \\x0A', inside
                )
            return _ESCAPES[code]

        return _ESCAPE.sub(plain, token.text[1:-1])


def what_example(what: str) -> str:
    """A well-formed one of what a message asks for."""
    return {"a time": "12.5 s", "a length of time": "3 s"}.get(what, "18.4 t")
