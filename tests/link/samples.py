"""Hypothesis strategies for every message of the node link, made from the declarations themselves."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from benchsim.link import codec
from benchsim.link.codec import layout_of
from benchsim.link.frames import FIRST_TAGGED, FROM_NODE, MESSAGES, OF_NODE, Header, Kind
from benchsim.link.limits import TAG_OCTETS

_RANGE = st.tuples(st.integers(0, 2**64 - 1), st.integers(1, 0xFFFF))


def _field(code: str, low: int, high: int) -> st.SearchStrategy[Any]:
    if code in "BHIQ":
        return st.integers(low, high)
    if code == "ranges":
        return st.lists(_RANGE, min_size=low, max_size=high).map(tuple)
    return st.binary(min_size=int(code[:-1]), max_size=int(code[:-1]))


@st.composite
def messages(draw: st.DrawFn, kind: Kind) -> Any:
    """Any message of a kind that is in its ranges."""
    message = MESSAGES[kind]
    values: dict[str, Any] = {}
    for field in layout_of(message).fields:
        if field.wire.code == "status":
            values[field.name] = draw(st.binary(min_size=values["channels"], max_size=values["channels"]))
        elif field.wire.code == "samples":
            octets = 4 * values["rows"] * values["channels"]
            values[field.name] = draw(st.binary(min_size=octets, max_size=octets))
        else:
            values[field.name] = draw(_field(field.wire.code, field.wire.low, field.wire.high))
    return message(**values)


@st.composite
def sealed(draw: st.DrawFn, kind: Kind | None = None) -> tuple[Header, Any, bytes]:
    """A header, its message and the whole frame (any tag)."""
    kind = draw(st.sampled_from(list(Kind))) if kind is None else kind
    flags = FROM_NODE if kind in OF_NODE else 0
    header = Header(
        draw(st.integers(1, 255)), kind, draw(st.integers(0, 0xFFFF)), draw(st.integers(1, 16)), flags,
        draw(st.integers(0, 2**32 - 1)), draw(st.integers(0, 2**32 - 1)),
    )  # fmt: skip
    message = draw(messages(kind))
    octets = TAG_OCTETS if kind >= FIRST_TAGGED else 0
    tag = draw(st.binary(min_size=octets, max_size=octets))
    return header, message, codec.seal(codec.body_of(header, message), tag)
