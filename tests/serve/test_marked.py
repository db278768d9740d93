"""Damage marks of a POSIX terminal (General Terminal Interface, c_iflag: PARMRK) and the way back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.serve.marked import Marked

PARTS = st.lists(st.binary(min_size=1, max_size=8) | st.tuples(st.integers(0, 255)), max_size=12)


def mark(part: bytes | tuple[int]) -> bytes:
    """As POSIX has it: FF doubled, a damaged octet as FF 00 octet (a break as FF 00 00)."""
    return part.replace(b"\xff", b"\xff\xff") if isinstance(part, bytes) else bytes([0xFF, 0, part[0]])


@pytest.mark.parametrize(
    ("marked", "found"),
    [
        (b"\nW\r", [b"\nW\r"]),
        (b"a\xff\xffb", [b"a\xffb"]),
        (b"a\xff\x00Wb", [b"a", None, b"b"]),
        (b"\xff\x00\x00", [None]),
        (b"\xff\x00\xff\xff\xff", [None, b"\xff"]),
    ],
)
def test_marks_are_undone(marked: bytes, found: list[bytes | None]) -> None:
    assert Marked().feed(marked) == found


@given(parts=PARTS, cuts=st.lists(st.integers(1, 3), max_size=80))
def test_marks_cut_anywhere_give_the_same(parts: list[bytes | tuple[int]], cuts: list[int]) -> None:
    marked = b"".join(map(mark, parts))
    reader, at, found = Marked(), 0, []
    for size in [*cuts, len(marked) + 1]:
        found += reader.feed(marked[at : at + size])
        at += size
    damages = [f for f in found if f is None]
    assert len(damages) == sum(isinstance(p, tuple) for p in parts)
    good = b"".join(p for p in parts if isinstance(p, bytes))
    assert b"".join(f for f in found if f is not None) == good
