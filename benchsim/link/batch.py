"""The same frames, many at a time."""

from __future__ import annotations

from benchsim.link import data
from benchsim.link.flow import Store
from benchsim.link.frames import Kind
from benchsim.link.session import Session


def build(session: Session, store: Store, first: int, count: int, k: int) -> list[tuple[int, bytes]]:
    """count data frames of k samples from sample `first` on: (when its last sample is complete, frame)."""
    out = []
    sequence = session.data_sequence
    for n in range(count):
        start = first + n * k
        cut = store.rows(start, start + k)
        frame = data.make(session, Kind.DATA, sequence + n, start, cut, k)
        out.append((store.time_us(start + k - 1), frame))
    return out
