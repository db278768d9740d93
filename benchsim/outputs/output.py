"""What an output is: bytes of a client to requests, indications to bytes.

One protocol is one file of this folder, found by its name: it has a `converse(card)` that opens one
client's conversation, and a folder of the same name under `protocols/` with its definition.  No file
here owns a port or a clock.
"""

from __future__ import annotations

import importlib
import pkgutil
import tomllib
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol

from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.errors import BadInput, unknown
from benchsim.ground.library import name_of, read_text, shipped
from benchsim.ground.readings import Indication, InstrumentCard, Outcome


@dataclass(frozen=True, slots=True)
class Request:
    """One thing that a client asked for.

    command: what the instrument has to be told before it is answered, None when it is only read.
    token: the conversation's own note, handed back to it with the outcome.
    """

    command: InstrumentCommand | None
    token: object = None


class Conversation(Protocol):
    """One client.  All that a client may have pending (a repeat, a wait for stable) lives here."""

    def receive(self, data: bytes, indication: Indication, now_us: int) -> list[Request]:
        """Bytes as they came, cut anywhere.  Gives what they ask, in order; nothing is answered yet."""

    def answer(self, request: Request, outcome: Outcome | None, indication: Indication, now_us: int) -> bytes:
        """The reply to one request, b"" for none yet or none at all.

        outcome: of request.command, None without one.  indication: as it is after that command.
        Called once for each request, in order, before the next receive.
        """

    def update(self, indication: Indication, now_us: int) -> bytes:
        """What a new indication makes the instrument say of itself, b"" for nothing."""

    def spoiled(self) -> bytes:
        """The reply to octets that came with a parity or framing error, b"" for none."""


@dataclass(frozen=True, slots=True)
class CommandLine:
    """One command as `protocols` lists it.  mark: how well its source is known."""

    send: str
    level: int
    meaning: str
    mark: str


@dataclass(frozen=True, slots=True)
class Description:
    """What may be told of a protocol without opening it.  folder: where its definition stands."""

    name: str
    title: str
    source: str
    line: str
    answer: str
    commands: tuple[CommandLine, ...]
    folder: Path


def protocol_names() -> tuple[str, ...]:
    """Every host protocol that can be opened, in alphabetical order."""
    return tuple(sorted(name_of(stem) for stem in _stems() if hasattr(_module(stem), "converse")))


def open_conversation(name: str, card: InstrumentCard) -> Conversation:
    """A new client's conversation in a protocol.

    Raises BadInput: no such protocol, or one that cannot speak for this instrument.
    """
    stem = name.replace("-", "_")
    module = _module(stem) if stem in _stems() else None
    if module is None or not hasattr(module, "converse"):
        raise unknown("protocol", name, protocol_names())
    conversation: Conversation = module.converse(card)
    return conversation


def describe(name: str) -> Description:
    """A protocol as its definition tells it.  Raises BadInput: unknown, or its definition is not readable."""
    if name not in protocol_names():
        raise unknown("protocol", name, protocol_names())
    table = definition(name)
    head = table["protocol"]
    commands = tuple(
        CommandLine(row["send"], row["level"], row["meaning"], row["mark"]) for row in table["command"]
    )
    return Description(
        name, head["title"], head["source"], head["line"], head["answer"], commands, _folder(name)
    )


def definition(name: str) -> dict[str, Any]:
    """The whole definition of a protocol, as its file has it."""
    path = _folder(name) / "definition.toml"
    try:
        return tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path}: {error}", "a definition is a TOML file") from None


def _folder(name: str) -> Path:
    return shipped("protocols") / name


def _stems() -> list[str]:
    package = importlib.import_module(__package__)
    return [m.name for m in pkgutil.iter_modules(package.__path__) if not m.ispkg]


def _module(stem: str) -> ModuleType:
    return importlib.import_module(f"{__package__}.{stem}")
