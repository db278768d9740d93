"""What a recording is made of: the streams in the open container (MCAP), their schemas, their encodings.

Bytes in, values out; nothing here opens a file.  protocols/recording/ says the same in prose, for readers
in any language.  Only the run is in here: no time of day, no identifier that another run would not have.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsim.ground.clock import SECOND_US
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import Event, LinkState
from benchsim.ground.units import MASS
from benchsim.record import frames
from benchsim.record.trace import COUNTS, FLAGS, Columns

FORMAT = 1
PROFILE = "x-benchsim"
BLOCK_US = SECOND_US
SIMULATED = "SIMULATED: no weight in this file was measured by an instrument"
HEAD, TAIL = "benchsim", "benchsim.end"
COLUMN_ENCODING = "x-benchsim-columns"
INDICATIONS, FRAMES = "indications", "frames"
DEPTHS = (INDICATIONS, FRAMES)
"""How much is kept of a run: what is shown and what happens, or all frames of the link beside it."""
MAX_CELLS = 16
MOST_LOST = 10_000
LONGEST_TOLD = 60
LOST = "(lost with a damaged block)"

_TYPES = {
    **dict.fromkeys(COUNTS, "<i8"),
    "flags": "<u2",
    "reason": "<u4",
    "true_kg": "<f8",
    "cells_kg": "<f8",
}


@dataclass(frozen=True, slots=True)
class Head:
    """What a recording says of itself, at its start.

    sources: (name, text) of the scenario file and of what it is built on; names are bare file names.
    lasts_us: how long the run is to last, None for a live one.  depth: one of DEPTHS.  nodes: each node of
    the bench in a few words, in the order in which ways are counted.
    """

    version: str
    seed: str
    cells: int
    interval: Decimal
    unit: str
    capacity_d: int
    profile: str = ""
    title: str = ""
    sources: tuple[tuple[str, str], ...] = ()
    lasts_us: int | None = None
    depth: str = INDICATIONS
    nodes: tuple[str, ...] = ()

    def metadata(self) -> dict[str, str]:
        """As the container keeps it: texts by key."""
        pairs = {
            "format": str(FORMAT),
            "notice": SIMULATED,
            "benchsim": self.version,
            "title": self.title,
            "seed": self.seed,
            "profile": self.profile,
            "cells": str(self.cells),
            "interval": str(self.interval),
            "unit": self.unit,
            "capacity_d": str(self.capacity_d),
            "lasts_us": "" if self.lasts_us is None else str(self.lasts_us),
            "depth": self.depth,
        }
        pairs |= {f"node {number}": words for number, words in enumerate(self.nodes, 1)}
        pairs |= {f"sha256 {name}": digest(text) for name, text in self.sources}
        return {plain(key): plain(value) for key, value in pairs.items()}


def read_head(metadata: dict[str, str], sources: Sequence[tuple[str, str]]) -> Head:
    """A head from its metadata.  Raises BadInput: another format, a value that cannot be."""
    found = metadata.get("format", "none")
    if found != str(FORMAT):
        raise BadInput(f"a recording of format {told(found)}", f"this benchsim reads format {FORMAT}")
    try:
        head = Head(
            version=metadata["benchsim"],
            seed=metadata["seed"],
            cells=int(metadata["cells"]),
            interval=Decimal(metadata["interval"]),
            unit=metadata["unit"],
            capacity_d=int(metadata["capacity_d"]),
            profile=metadata["profile"],
            title=metadata["title"],
            sources=tuple(sources),
            lasts_us=int(metadata["lasts_us"]) if metadata["lasts_us"] else None,
            depth=metadata.get("depth", INDICATIONS),
            nodes=tuple(_numbered("node", metadata)),
        )
    except (KeyError, ValueError, InvalidOperation) as error:
        raise BadInput(f"a recording whose head cannot be read: {error!r}") from None
    interval_is_good = head.interval.is_finite() and head.interval > 0 and head.unit in MASS.factors
    if not 1 <= head.cells <= MAX_CELLS or not interval_is_good:
        raise BadInput(f"a recording of {head.cells} cells with d = {head.interval} {told(head.unit)}")
    return head


def _numbered(word: str, metadata: dict[str, str]) -> Iterator[str]:
    """What stands behind "word 1", "word 2" and so on."""
    number = 1
    while (text := metadata.get(f"{word} {number}")) is not None:
        yield text
        number += 1


def octets_of(text: str) -> bytes:
    """A text in UTF-8; what is no character (an octet of a file's name that is no text) is escaped.

    In JSON the escape means what stood there, so events come back as they were.
    """
    return text.encode("utf-8", "backslashreplace")


def plain(text: str) -> str:
    """The same as text that can be written anywhere."""
    return octets_of(text).decode()


def told(text: str) -> str:
    """A text of a file as a message has it: on one line, and no longer than a line."""
    return text if text.isprintable() and len(text) <= LONGEST_TOLD else f"{text[:LONGEST_TOLD]!r}"


def digest(text: str) -> str:
    """SHA-256 of a text in UTF-8, as hexadecimal digits."""
    return hashlib.sha256(octets_of(text)).hexdigest()


# -- streams ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stream:
    """One channel of the container."""

    topic: str
    message_encoding: str
    schema: str
    schema_encoding: str
    schema_data: bytes


def streams(cells: int, depth: str = INDICATIONS) -> tuple[Stream, ...]:
    """All streams of a recording of this depth, in the order in which a block holds them."""
    kept = (
        _json_stream("reasons", "reasons", {"first": _WHOLE, "reasons": {"type": "array", "items": _TEXT}}),
        Stream("indication", COLUMN_ENCODING, "benchsim.columns", COLUMN_ENCODING, column_schema(cells)),
        _json_stream("events", "events", {"events": {"type": "array", "items": _object(_EVENT)}}),
        _json_stream("links", "links", {"links": {"type": "array", "items": _object(_LINK)}}),
    )
    if depth != FRAMES:
        return kept
    layout = _dump(frames.layout())
    return (*kept, Stream("frames", frames.ENCODING, "benchsim.frames", frames.ENCODING, layout))


_WHOLE: dict[str, Any] = {"type": "integer"}
_TEXT: dict[str, Any] = {"type": "string"}
_EVENT: dict[str, Any] = {
    "t_us": _WHOLE,
    "kind": {"enum": ["load", "command", "fault", "link", "node", "answer", "client"]},
    "subject": _TEXT,
    "text": _TEXT,
    "done": {"type": "boolean"},
    "octets": {"type": "string", "pattern": "^([0-9a-f]{2})*$"},
}
_LINK: dict[str, Any] = {
    "t_us": _WHOLE,
    "address": _WHOLE,
    "step": {"enum": ["idle", "seek", "prove", "flow", "lost", "failed", "released"]},
    "reason": _TEXT,
    "detail": _TEXT,
    "since_us": _WHOLE,
}


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _json_stream(topic: str, name: str, properties: dict[str, Any]) -> Stream:
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema"} | _object(properties)
    return Stream(topic, "json", f"benchsim.{name}", "jsonschema", _dump(schema))


def column_schema(cells: int) -> bytes:
    """The layout of a column block, as JSON: the columns in order, each with type and values a row."""
    columns = [
        {"name": name, "type": kind, "per_row": cells if name == "cells_kg" else 1}
        for name, kind in _TYPES.items()
    ]
    return _dump({"header": [{"name": "rows", "type": "<u4"}], "columns": columns, "flags": list(FLAGS)})


def _dump(value: object) -> bytes:
    return octets_of(json.dumps(value, ensure_ascii=False, separators=(",", ":")))


# -- messages --------------------------------------------------------------------------------------------


def encode_columns(columns: Columns, first: int, end: int) -> bytes:
    """The rows first up to but not end: their number, then column after column, little-endian."""
    parts = [(end - first).to_bytes(4, "little")]
    for name, kind in _TYPES.items():
        values: NDArray[Any] = getattr(columns, name)[first:end]
        parts.append(values.astype(kind, copy=False).tobytes())
    return b"".join(parts)


def decode_columns(data: bytes, cells: int, reasons: Sequence[str]) -> Columns:
    """A column block.  Raises ValueError for one that cannot be."""
    rows = int.from_bytes(data[:4], "little")
    arrays: dict[str, NDArray[Any]] = {}
    at = 4
    for name, kind in _TYPES.items():
        values = rows * (cells if name == "cells_kg" else 1)
        arrays[name] = np.frombuffer(data, kind, values, at)
        at += arrays[name].nbytes
    if at != len(data):
        raise ValueError(f"a block of {len(data)} octets where {rows} rows need {at}")
    arrays["cells_kg"] = arrays["cells_kg"].reshape(rows, cells)
    if (arrays["flags"] >> len(FLAGS)).any() or (np.diff(arrays["t_us"]) <= 0).any():
        raise ValueError("a block with unknown flags, or whose times do not rise")
    return Columns(**arrays, reasons=_with_lost(reasons, int(arrays["reason"].max(initial=0))))


def _with_lost(reasons: Sequence[str], highest: int) -> tuple[str, ...]:
    """The reasons known, and a word for those that a damaged block took with it."""
    lost = highest + 1 - len(reasons)
    if lost > MOST_LOST:
        raise ValueError(f"reason {highest} of {len(reasons)}")
    return (*reasons, *([LOST] * lost))


def encode_reasons(first: int, reasons: Sequence[str]) -> bytes:
    """Reasons that a block brings for the first time, and the index of the first of them."""
    return _dump({"first": first, "reasons": list(reasons)})


def decode_reasons(data: bytes, known: list[str]) -> None:
    """Add new reasons to those known.  Raises ValueError, KeyError or TypeError for what cannot be."""
    document = json.loads(data)
    first = int(document["first"])
    known[:] = [*_with_lost(known, first - 1)[:first], *map(str, document["reasons"])]


def encode_events(events: Sequence[Event]) -> bytes:
    """Events as one JSON document."""
    return _dump(
        {
            "events": [
                {
                    "t_us": e.t_us,
                    "kind": e.kind,
                    "subject": e.subject,
                    "text": e.text,
                    "done": e.done,
                    "octets": e.octets.hex(),
                }
                for e in events
            ]
        }
    )


def decode_events(data: bytes) -> list[Event]:
    """The events of one message.  Raises ValueError, KeyError or TypeError for what cannot be."""
    return [
        Event(
            int(e["t_us"]),
            str(e["kind"]),
            str(e["subject"]),
            str(e["text"]),
            done=bool(e["done"]),
            octets=bytes.fromhex(e["octets"]),
        )
        for e in json.loads(data)["events"]
    ]


def encode_links(states: Sequence[tuple[int, LinkState]]) -> bytes:
    """Link states as one JSON document."""
    return _dump(
        {
            "links": [
                {
                    "t_us": t_us,
                    "address": s.address,
                    "step": s.step,
                    "reason": s.reason,
                    "detail": s.detail,
                    "since_us": s.since_us,
                }
                for t_us, s in states
            ]
        }
    )


def decode_links(data: bytes) -> list[tuple[int, LinkState]]:
    """The link states of one message.  Raises ValueError, KeyError or TypeError for what cannot be."""
    return [
        (
            int(s["t_us"]),
            LinkState(
                int(s["address"]), str(s["step"]), str(s["reason"]), str(s["detail"]), int(s["since_us"])
            ),
        )
        for s in json.loads(data)["links"]
    ]
