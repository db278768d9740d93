"""Frames made and taken many at a time are those made and taken one by one, octet for octet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.readings import Counts
from benchsim.link import batch, data
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.session import Session
from benchsim.link.store import Store


def _session(from_node: int, channels_seed: int = 3) -> Session:
    return Session(0x1234_5678, 1, 7, 5, from_node, bytes([channels_seed]) * 32)


def _store(rows: list[int], channels: int, seed: int, wired: int | None = None) -> Store:
    """Blocks of these lengths, filled from a seed; some statuses are not good."""
    random = np.random.Generator(np.random.SFC64(seed))
    store, first = Store(channels, 64), 40
    wired = channels if wired is None else wired
    for count in rows:
        t_us = 1000 * np.arange(first + 1, first + count + 1, dtype=np.int64)
        counts = random.integers(-(2**31), 2**31, (count, wired)).astype(np.int32)
        status = (random.integers(0, 40, (count, wired)) == 1).astype(np.uint8) * np.uint8(2)
        store.feed(Counts(first, t_us, t_us + 5, counts, status), 40)
        first += count
    return store


def _one_by_one(session: Session, store: Store, count: int, k: int) -> tuple[list[int], list[bytes]]:
    times, frames = [], []
    for n in range(count):
        first = 40 + n * k
        cut = store.rows(first, first + k)
        frame = data.make(session, Kind.DATA, session.data_sequence + n, first, cut, k)
        times.append(store.time_us(first + k - 1))
        frames.append(frame)
    return times, frames


@given(
    st.lists(st.integers(1, 700), min_size=1, max_size=4), st.integers(1, 17), st.integers(1, 4),
    st.integers(0, 2**32),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_a_batch_makes_the_frames_that_are_made_one_by_one(
    rows: list[int], k: int, channels: int, seed: int
) -> None:
    store, session = _store(rows, channels, seed), _session(FROM_NODE)
    count = sum(rows) // k
    assert batch.build(session, store, 40, count, k) == _one_by_one(session, store, count, k)


@given(st.integers(1, 80), st.integers(1, 4), st.integers(1, 60), st.data())
@settings(max_examples=30, deadline=None)
def test_a_batch_takes_and_refuses_as_one_by_one(
    k: int, channels: int, count: int, draw: st.DataObject
) -> None:
    _, frames = _one_by_one(_session(FROM_NODE), _store([count * k], channels, count), count, k)
    for _ in range(draw.draw(st.integers(0, 6))):
        at = draw.draw(st.integers(0, count - 1))
        match draw.draw(st.sampled_from(["twice", "swapped", "bit", "forged"])):
            case "twice":
                frames.append(frames[at])
            case "swapped":
                frames[at], frames[0] = frames[0], frames[at]
            case "bit":
                wrong = bytearray(frames[at])
                wrong[draw.draw(st.integers(0, len(wrong) - 1))] ^= 4
                frames[at] = bytes(wrong)
            case "forged":  # another session's key, everything else right
                other = _session(FROM_NODE, 9)
                store = _store([k], channels, 1)
                frames[at] = data.make(other, Kind.DATA, at, 40, store.rows(40, 40 + k), k)
    singly, together = _session(0), _session(0)
    one = [data.take(singly, f) if data.whole(f) else "CRC" for f in frames]
    assert batch.take(together, frames, k, channels) == [None if isinstance(t, str) else t for t in one]
    assert together.data.highest == singly.data.highest


@pytest.mark.parametrize("rows", [[8], [800]])
def test_a_channel_without_a_cell_says_that_no_bridge_is_there(rows: list[int]) -> None:
    store = _store(rows, 4, 1, wired=2)
    session = _session(FROM_NODE)
    for frame in batch.build(session, store, 40, rows[0] // 8, 8)[1]:
        taken = data.take(_session(0), frame)
        assert not isinstance(taken, str)
        assert taken[3] == 4
        assert taken[4][2:] == bytes([4, 4])
        assert np.frombuffer(taken[5], "<i4").reshape(8, 4)[:, 2:].any() == np.False_


def test_a_frame_over_two_blocks_joins_their_samples_and_their_status() -> None:
    store = _store([5, 3, 8], 4, 7)
    node_t_us, status, octets = store.rows(40, 56)
    parts = [store.rows(a, b) for a, b in ((40, 45), (45, 48), (48, 56))]
    assert node_t_us == parts[0][0]
    assert octets == b"".join(p[2] for p in parts)
    assert status == bytes(a | b | c for a, b, c in zip(*(p[1] for p in parts), strict=True))
