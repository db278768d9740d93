"""The open standard serial protocol SCP-0499, levels 1 and 2: one client's conversation.

A command does what it asks now or is refused now: no zero and no tare request is ever kept for later.
Every command ends what the one before it began.  What was refused is told to who asked for it, to nobody
else.  protocols/scp0499/ says which rule is known how well.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from benchsim.ground.commands import ClearTare, InstrumentCommand, PresetTare, Tare, Zero
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Indication, InstrumentCard, Outcome
from benchsim.ground.rounding import decimals_of, shown
from benchsim.outputs.output import Request

LF, CR, ESC = b"\n", b"\r", b"\x1b"
UNKNOWN_ANSWER = b"\n?\r"
SPOILED_ANSWER = b"\n!\r"
DIAGNOSTICS_ANSWER = b"\n    \r"  # memory, stored settings, calibration, one more: all good

WEIGHT_WIDTH = 10
UNIT_WIDTH = 3
TEXT_WIDTH = 25
LONGEST_LINE = 64  # octets between LF and CR; the longest command has 11

LEVEL_1 = "WZDAB"
LEVEL_2 = "HPQRSTMCUIN"
TAKES_DATA = "TU"
HIGH_RESOLUTION = "HQS"
ONCE_STABLE = "PQ"
REPEATED = "RS"

SIMULATED = "SIMULATED by benchsim"

_PIECE = re.compile(rb"[^\n\r\x1b]+|[\n\r\x1b]")
_WEIGHT = re.compile(r" *(\d+\.?\d*|\.\d+) *")


@dataclass(frozen=True, slots=True)
class Asked:
    """A command as it came.  letter "" is not one that this instrument knows; "ESC" is the abort."""

    letter: str
    data: str = ""


UNKNOWN = Asked("")
ABORT = Asked("ESC")


def converse(card: InstrumentCard) -> Scp0499:
    """A new client.  Raises BadInput when the instrument's figures do not fit the standard's fields."""
    if len(card.unit) > UNIT_WIDTH or not card.unit.isascii():
        raise BadInput(f"unit {card.unit!r}", f"at most {UNIT_WIDTH} ASCII characters fit the answer")
    widest = f"-{shown(card.capacity_d, card.interval)}"
    if len(widest) > WEIGHT_WIDTH:
        raise BadInput(
            f"a capacity of {widest[1:]} {card.unit} needs {len(widest)} characters with its sign",
            f"at most {WEIGHT_WIDTH} fit the answer",
        )
    return Scp0499(card)


class Lines:
    """Octets, cut anywhere, to commands.  Holds at most LONGEST_LINE octets, whatever comes."""

    __slots__ = ("_held", "_inside", "_overlong")

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Forget what has come of an unfinished line."""
        self._held = b""
        self._inside = False
        self._overlong = False

    def feed(self, data: bytes) -> Iterator[Asked]:
        """The commands that these octets complete.  LF begins a line anew, CR ends it, ESC aborts."""
        for piece in _PIECE.findall(data):
            if piece == LF:
                self.reset()
                self._inside = True
            elif piece == CR:
                inside, held, overlong = self._inside, self._held, self._overlong
                self.reset()
                if inside and not overlong:
                    yield parse(held)
                elif held:  # a line that never began with LF
                    yield UNKNOWN
            elif piece == ESC:
                self.reset()
                yield ABORT
            elif not self._overlong:
                self._held += piece[: LONGEST_LINE + 1]
                if len(self._held) > LONGEST_LINE:  # told once; the rest of the line is let go
                    self._held, self._overlong = b"", True
                    yield UNKNOWN


def parse(line: bytes) -> Asked:
    """What stood between LF and CR."""
    try:
        text = line.decode("ascii")
    except UnicodeDecodeError:
        return UNKNOWN
    letter, data = text[:1], text[1:]
    if not letter or letter not in LEVEL_1 + LEVEL_2 or (data and letter not in TAKES_DATA):
        return UNKNOWN
    if letter == "T" and data and (len(data) != WEIGHT_WIDTH or not _WEIGHT.fullmatch(data)):
        return UNKNOWN
    if letter == "U" and len(data) > UNIT_WIDTH:
        return UNKNOWN
    return Asked(letter, data)


def _command(asked: Asked) -> InstrumentCommand | None:
    match asked:
        case Asked("Z"):
            return Zero()
        case Asked("T", ""):
            return Tare()
        case Asked("T", weight):
            return PresetTare(Decimal(weight.strip()))
        case Asked("C"):
            return ClearTare()
    return None


class Scp0499:
    """One client.  Create it by `converse`, which checks that the instrument fits."""

    def __init__(self, card: InstrumentCard) -> None:
        self._card = card
        self._lines = Lines()
        self._lists = {"A": about(card), "I": information(card)}
        self._next_line = {"A": 0, "I": 0}
        self._standing: Asked | None = None  # a repeat, or a wait for stable
        self._zero_refused = False  # to this client, and what was against it still is
        self._tare_refused = False  # to this client, and not told yet

    def receive(self, data: bytes, indication: Indication, now_us: int) -> list[Request]:
        """What the client asks, in order."""
        return [Request(_command(asked), asked) for asked in self._lines.feed(data)]

    def answer(self, request: Request, outcome: Outcome | None, indication: Indication, now_us: int) -> bytes:
        """The reply to one request."""
        asked = request.token
        if not isinstance(asked, Asked):
            raise TypeError(f"{asked!r} is not a request of this conversation")
        self._standing = None
        self._note(indication)
        if asked is ABORT:
            return b""
        if outcome is not None:
            return self._told(asked, outcome, indication)
        return self._read(asked, indication)

    def update(self, indication: Indication, now_us: int) -> bytes:
        """Repeats, and answers that waited for a stable weight."""
        self._note(indication)
        asked = self._standing
        if asked is None or (asked.letter in ONCE_STABLE and not stable(indication)):
            return b""
        if asked.letter not in REPEATED:
            self._standing = None
        return self._weight(asked.letter, indication)

    def spoiled(self) -> bytes:
        """The reply to octets that came with a parity or framing error; the unfinished line is let go."""
        self._lines.reset()
        return SPOILED_ANSWER

    def _told(self, asked: Asked, outcome: Outcome, indication: Indication) -> bytes:
        """The reply to a command that was done or refused, with the indication that it led to."""
        if not outcome.done and asked.letter == "Z":
            self._zero_refused = True
        elif not outcome.done:
            self._tare_refused = True
        return self._weight(asked.letter, indication)

    def _read(self, asked: Asked, indication: Indication) -> bytes:
        """The reply to a command that changes nothing on the instrument."""
        letter = asked.letter
        if letter in ("A", "B", "I", "N"):
            return self._listed(letter)
        if letter == "D":
            return DIAGNOSTICS_ANSWER
        if letter == "" or (letter in HIGH_RESOLUTION and not self._has_high_resolution()):
            return UNKNOWN_ANSWER
        if letter == "U" and asked.data.strip() not in ("", self._card.unit.strip()):
            return UNKNOWN_ANSWER
        if letter in REPEATED:
            self._standing = asked
        elif letter in ONCE_STABLE and not stable(indication):
            self._standing = asked
            return b""
        return self._weight(letter, indication)

    def _listed(self, letter: str) -> bytes:
        key = {"A": "A", "B": "A", "I": "I", "N": "I"}[letter]
        number = 0 if letter == key else self._next_line[key]
        lines = self._lists[key]
        self._next_line[key] = number + 1
        return lines[number] if number < len(lines) else UNKNOWN_ANSWER

    def _weight(self, letter: str, indication: Indication) -> bytes:
        status = self._status(indication)
        if letter == "M":
            return self._line(status, "T", indication, indication.tare_d)
        kind = "N" if indication.shows_net else "G"
        if letter not in HIGH_RESOLUTION:
            return self._line(status, kind, indication, indication.shown_d)
        tenths = indication.tenths_net_d if indication.shows_net else indication.tenths_gross_d
        return self._line(status, kind.lower(), indication, tenths, indication.interval / 10)

    def _status(self, indication: Indication) -> str:
        """The status character.  E, I and T outrank Z, O and U; T comes first, since it shows only once."""
        if self._tare_refused:
            self._tare_refused = False
            return "T"
        return standing_status(indication, self._zero_refused)

    def _line(
        self, status: str, kind: str, indication: Indication, count: int, step: Decimal | None = None
    ) -> bytes:
        digits = shown(count, step or indication.interval)
        if not may_show(status, kind, indication) or len(digits) > WEIGHT_WIDTH:
            digits = "-" * WEIGHT_WIDTH
        motion = "M" if indication.motion else " "
        text = f"\n{status}1{kind}{motion} {digits:>{WEIGHT_WIDTH}}{indication.unit:<{UNIT_WIDTH}}\r"
        return text.encode("ascii")

    def _note(self, indication: Indication) -> None:
        """A zero error ends with its condition; another client's is no news here."""
        self._zero_refused = self._zero_refused and indication.zero_error

    def _has_high_resolution(self) -> bool:
        card = self._card
        return len(shown(-card.capacity_d * 10, card.interval / 10)) <= WEIGHT_WIDTH


def stable(indication: Indication) -> bool:
    """Whether a reply that waits for a stable weight may go."""
    return indication.valid and not indication.motion


def standing_status(indication: Indication, zero_refused: bool) -> str:
    """The status character of an indication for a client.  zero_refused: its own request still is.

    An instrument that has no weight at all says E: of the characters that go with dashes it is the one
    that clears with its condition; the standard has none for a missing weight.
    """
    if indication.initial_zero_error:
        return "I"
    if zero_refused or not indication.valid:
        return "E"
    if indication.overload:
        return "O"
    if indication.underload:
        return "U"
    if indication.centre_of_zero and indication.shown_d == 0:
        return "Z"
    return " "


def may_show(status: str, kind: str, indication: Indication) -> bool:
    """Whether digits, not dashes, stand in the weight field.  A tare is always known."""
    return status not in "EIT" and (kind == "T" or indication.shows_figure)


def about(card: InstrumentCard) -> tuple[bytes, ...]:
    """The lines of A and B."""
    return _list(
        ("SMA", "2/1.0"),
        ("MFG", SIMULATED),
        ("MOD", card.model),
        ("REV", card.revision),
        ("SN ", card.serial),
        ("END", ""),
    )


def information(card: InstrumentCard) -> tuple[bytes, ...]:
    """The lines of I and N.  CAP: unit, capacity, count-by, decimals (0.05 kg: 5 with 2 decimals)."""
    decimals = decimals_of(card.interval)
    count_by = int(card.interval.scaleb(decimals))
    capacity = shown(card.capacity_d, card.interval)
    return _list(
        ("SMA", "2/1.0"),
        ("TYP", f"{card.kind[: TEXT_WIDTH - 10]} SIMULATED"),
        ("CAP", f"{card.unit:<{UNIT_WIDTH}}:{capacity}:{count_by}:{decimals}"),
        ("CMD", LEVEL_1 + LEVEL_2),
        ("END", ""),
    )


def _list(*lines: tuple[str, str]) -> tuple[bytes, ...]:
    """KEY:text lines; what is no printable ASCII becomes "?", what is too long is cut."""
    return tuple(f"\n{key}:{_printable(text)[:TEXT_WIDTH]}\r".encode("ascii") for key, text in lines)


def _printable(text: str) -> str:
    return "".join(c if " " <= c <= "~" else "?" for c in text)
