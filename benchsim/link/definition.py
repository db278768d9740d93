"""The node link as data: constructs of every frame, the definition as a table, the specification's tables.

All of it is made from frames.py, limits.py and steps.py.  The construct of a frame is slow and sure: tests
hold the fast paths against it.  The shipped definition file and the specification's tables are compared
with what stands here.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import construct as c

from benchsim.link import limits
from benchsim.link.codec import FieldLayout, crc32c, layout_of
from benchsim.link.frames import FIRST_TAGGED, MESSAGES, OF_NODE, Header, Kind, RefuseReason
from benchsim.link.steps import HOST_STEPS, HOST_STEPS_ONCE_FLOWED, NODE_STEPS, Step

_NUMBERS: dict[str, Any] = {"B": c.Int8ul, "H": c.Int16ul, "I": c.Int32ul, "Q": c.Int64ul}
_TYPES = {"B": "u8", "H": "u16", "I": "u32", "Q": "u64"}
_ALL = {"B": 0xFF, "H": 0xFFFF, "I": 0xFFFF_FFFF, "Q": 0xFFFF_FFFF_FFFF_FFFF}


def _construct_of_field(field: FieldLayout) -> Any:
    code = field.wire.code
    if code in _NUMBERS:
        low, high = field.wire.low, field.wire.high
        return c.ExprValidator(_NUMBERS[code], lambda value, _: low <= value <= high)
    if code == "ranges":
        one = c.Sequence(c.Int64ul, c.ExprValidator(c.Int16ul, lambda value, _: value > 0))
        count = c.ExprValidator(c.Int8ul, lambda value, _: 1 <= value <= limits.MAX_RANGES)
        return c.PrefixedArray(count, one)
    if code == "status":
        return c.Bytes(c.this.channels)
    if code == "samples":
        return c.Array(c.this.rows, c.Array(c.this.channels, c.Int32sl))
    return c.Bytes(int(code[:-1]))


def _struct_of(declared: Any) -> Any:
    return c.Struct(*(f.name / _construct_of_field(f) for f in layout_of(declared).fields))


def payload_construct(kind: Kind) -> Any:
    """The construct of one message's payload."""
    return _struct_of(MESSAGES[kind])


def frame_construct(kind: Kind) -> Any:
    """The construct of a whole frame: header, payload, tag, CRC-32C, and nothing behind it."""
    tag = limits.TAG_OCTETS if kind >= FIRST_TAGGED else 0
    flags = 1 if kind in OF_NODE else 0
    return c.Struct(
        "sealed" / c.RawCopy(c.Struct(
            "header" / _struct_of(Header),
            c.Check(lambda this: this.header.kind == kind and this.header.flags == flags),
            "payload" / payload_construct(kind),
            "tag" / c.Bytes(tag),
        )),
        "crc" / c.Checksum(c.Int32ul, crc32c, c.this.sealed.data),
        c.Terminated,
    )  # fmt: skip


# -- the definition file -------------------------------------------------------------------------------


def describe() -> dict[str, Any]:
    """The whole protocol in the shape of the shipped definition file."""
    return {
        "name": "nodelink",
        "version": 1,
        "byte_order": "little",
        "limits": {n.lower(): v for n, v in vars(limits).items() if n.isupper()},
        "refuse_reasons": {r.name.lower(): int(r) for r in RefuseReason},
        "header": [_describe_field(f) for f in layout_of(Header).fields],
        "message": [_describe_message(Kind(k)) for k in MESSAGES],
    }


def _describe_message(kind: Kind) -> dict[str, Any]:
    message = MESSAGES[kind]
    return {
        "name": kind.name.lower(),
        "kind": int(kind),
        "from": "node" if kind in OF_NODE else "host",
        "tagged": kind >= FIRST_TAGGED,
        "says": " ".join((message.__doc__ or "").split()),
        "fields": [_describe_field(f) for f in layout_of(message).fields],
    }


def _describe_field(field: FieldLayout) -> dict[str, Any]:
    code = field.wire.code
    if code in _TYPES:
        said: dict[str, Any] = {"name": field.name, "type": _TYPES[code]}
        if (field.wire.low, field.wire.high) != (0, _ALL[code]):
            said |= {"low": field.wire.low, "high": field.wire.high}
        return said
    if code == "ranges":
        return {
            "name": field.name, "type": "ranges", "count": "u8", "first": "u64", "samples": "u16",
            "low": field.wire.low, "high": field.wire.high,
        }  # fmt: skip
    if code == "status":
        return {"name": field.name, "type": "u8", "each": "channels"}
    if code == "samples":
        return {"name": field.name, "type": "i32", "each": "rows x channels"}
    return {"name": field.name, "type": "octets", "octets": int(code[:-1])}


# -- the specification's tables ------------------------------------------------------------------------


def tables() -> dict[str, str]:
    """Each table that the prose specification prints, by its name there."""
    host = {**{(s, e): (n, "") for (s, e), n in HOST_STEPS.items()}}
    for (step, event), after in HOST_STEPS_ONCE_FLOWED.items():
        host[step, event] = (host[step, event][0], f"; {after} when it has flowed before")
    return {
        "header": _field_table(layout_of(Header).fields),
        "messages": "\n\n".join(_message_section(Kind(k)) for k in MESSAGES),
        "refusals": _table(["code", "reason"], [[str(int(r)), _words(r.name)] for r in RefuseReason]),
        "host-steps": _step_table({k: f"{after}{more}" for k, (after, more) in host.items()}),
        "node-steps": _step_table({k: str(v) for k, v in NODE_STEPS.items()}),
        "limits": _table(
            ["figure", "value"],
            [[_words(n), _figure(n, v)] for n, v in vars(limits).items() if n.isupper()],
        ),
    }


def _words(name: str) -> str:
    return name.lower().removesuffix("_us").replace("_", " ")


def _figure(name: str, value: int) -> str:
    if name.endswith("_US"):
        return f"{value // 1000} ms"
    return f"0x{value:08X}" if value > 0xFFFF else str(value)


def _message_section(kind: Kind) -> str:
    message = MESSAGES[kind]
    sender = "node to host" if kind in OF_NODE else "host to node"
    tagged = "tagged" if kind >= FIRST_TAGGED else "not tagged"
    says = " ".join((message.__doc__ or "").split())
    fields = _field_table(layout_of(message).fields)
    return f"### {kind.name.lower()} (0x{kind:02X}), {sender}, {tagged}\n\n{says}\n\n{fields}"


def _field_table(fields: tuple[FieldLayout, ...]) -> str:
    rows, at = [], 0
    for field in fields:
        said = _describe_field(field)
        code = field.wire.code
        kind = f"octets, {said['octets']}" if said["type"] == "octets" else said["type"]
        span = f"{said['low']} to {said['high']}" if "low" in said else "any"
        if code == "ranges":
            kind, span = "u8 n, then n x (u64 first, u16 count)", f"n {span}, count 1 or more"
        elif "each" in said:
            kind = f"{said['type']}, {said['each']}"
        rows.append([str(at) if at >= 0 else "", field.name, kind, span])
        width = {"B": 1, "H": 2, "I": 4, "Q": 8}.get(code) or said.get("octets")
        at = at + width if width and at >= 0 else -1
    return _table(["offset", "field", "type", "range"], rows)


def _step_table(steps: dict[tuple[Step, Any], str]) -> str:
    order = list(Step)
    rows = [[str(s), _event(e), after] for (s, e), after in steps.items()]
    rows.sort(key=lambda row: order.index(Step(row[0])))
    return _table(["step", "what happens", "next step"], rows)


def _event(event: StrEnum) -> str:
    return str(event)


def _table(heads: list[str], rows: list[list[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)
