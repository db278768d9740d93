"""Frames made and taken many at a time are those made and taken one by one, octet for octet."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.ground.readings import Counts
from benchsim.link import batch, codec, data, keys
from benchsim.link.cmac import Many
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.limits import CRC_OCTETS, NO_NUMBER, REPLAY_WINDOW, SEQUENCE_LAST, TAG_OCTETS
from benchsim.link.session import Session
from benchsim.link.store import Store

FIRST = 40


def _session(from_node: int, secret: int = 3, number: int = 0x1234_5678) -> Session:
    return Session(number, 1, 7, 5, from_node, bytes([secret]) * 32)


def _store(rows: list[int], channels: int, seed: int, wired: int | None = None, first: int = FIRST) -> Store:
    """Blocks of these lengths, filled from a seed; one block in two has statuses that are not good."""
    dice = np.random.Generator(np.random.SFC64(seed))
    store, sent = Store(channels, 64), first
    wired = channels if wired is None else wired
    for count in rows:
        t_us = 1000 * np.arange(1, count + 1, dtype=np.int64) + 1000 * (first % 2**40)
        counts = dice.integers(-(2**31), 2**31, (count, wired)).astype(np.int32)
        odd = dice.random((count, wired)) < dice.integers(0, 2) / 40
        status = (odd * dice.integers(0, 256, (count, wired))).astype(np.uint8)
        store.feed(Counts(first, t_us, t_us + 5, counts, status), sent)
        first += count
    return store


def _one_by_one(
    session: Session, store: Store, count: int, k: int, first: int = FIRST
) -> tuple[list[int], list[bytes]]:
    times, frames = [], []
    for n in range(count):
        at = first + n * k
        frames.append(data.make(session, Kind.DATA, session.data_sequence + n, at, store.rows(at, at + k), k))
        times.append(store.time_us(at + k - 1))
    return times, frames


@given(st.integers(0, 100), st.integers(0, 40), st.integers(0, 9), st.integers(0, 2**32))
@settings(max_examples=60, deadline=None)
def test_the_tags_of_many_messages_are_those_of_each(octets: int, count: int, behind: int, seed: int) -> None:
    dice = random.Random(seed)
    key, texts = dice.randbytes(16), [dice.randbytes(octets + behind) for _ in range(count)]
    messages = np.frombuffer(b"".join(texts), np.uint8).reshape(count, octets + behind)
    tags = [tag.tobytes() for tag in Many(key).tags(messages, octets)]
    assert tags == [keys.cmac(key, text[:octets]) for text in texts]


@given(
    st.integers(1, 80), st.integers(1, 4), st.lists(st.tuples(st.integers(0, 60), st.integers(0, 79)),
    min_size=1, max_size=4), st.integers(0, 2**32), st.sampled_from([0, 2**31, NO_NUMBER - 2**20]),
    st.booleans(),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_a_batch_makes_the_frames_that_are_made_one_by_one(
    k: int, channels: int, blocks: list[tuple[int, int]], seed: int, first: int, to_the_end: bool
) -> None:
    rows = [frames * k + more for frames, more in blocks if frames * k + more]
    store, session = _store(rows, channels, seed, first=first), _session(FROM_NODE)
    count = sum(rows) // k
    if to_the_end:  # of the numbers that a lane has
        session.data_sequence = SEQUENCE_LAST + 1 - count
    assert batch.build(session, store, first, count, k) == _one_by_one(session, store, count, k, first)


# What is done to one frame of many.  Each takes the frame, and 64 random bits.


def _bit(frame: bytes, dice: int) -> bytes:
    wrong = bytearray(frame)
    wrong[dice // 8 % len(frame)] ^= 1 << dice % 8
    return bytes(wrong)


def _cut(frame: bytes, dice: int) -> bytes:
    return frame[: dice % len(frame)]


def _longer(frame: bytes, dice: int) -> bytes:
    return frame + bytes(1 + dice % 20)


def _other_crc(frame: bytes, dice: int) -> bytes:
    return frame[:-CRC_OCTETS] + bytes(b ^ 1 + dice % 255 for b in frame[-CRC_OCTETS:])


def _resealed(frame: bytes, dice: int, session: Session | None = None) -> bytes:
    """One bit of header or fixed fields wrong, and sealed again with the right key."""
    body = _bit(frame[: data.HEAD.size], dice) + frame[data.HEAD.size : -TAG_OCTETS - CRC_OCTETS]
    return codec.seal(body, (session or _session(FROM_NODE)).out.tag(body))


def _other_key(frame: bytes, dice: int) -> bytes:
    body = frame[: -TAG_OCTETS - CRC_OCTETS]
    return codec.seal(body, _session(FROM_NODE, 9).out.tag(body))


def _wrong_way(frame: bytes, dice: int) -> bytes:
    """What the host would send: its flag and its key."""
    body = frame[:5] + bytes([0]) + frame[6 : -TAG_OCTETS - CRC_OCTETS]
    return codec.seal(body, _session(0).out.tag(body))


def _repeat(frame: bytes, dice: int) -> bytes:
    """The other kind that is laid out as data: it belongs to the other lane."""
    body = frame[:1] + bytes([Kind.REPEAT]) + frame[2 : -TAG_OCTETS - CRC_OCTETS]
    return codec.seal(body, _session(FROM_NODE).out.tag(body))


MEDDLING: list[Callable[[bytes, int], bytes]] = [
    _bit, _cut, _longer, _other_crc, _resealed, _other_key, _wrong_way, _repeat,
]  # fmt: skip


def _singly(session: Session, frame: bytes, size: int) -> data.Taken | None:
    """What one frame of this size and kind comes to by the plain way."""
    if len(frame) != size or not data.whole(frame) or frame[1] != Kind.DATA:
        return None
    taken = data.take(session, frame)
    return None if isinstance(taken, str) else taken


@given(
    st.integers(1, 80), st.integers(1, 4), st.integers(1, 50), st.sampled_from([0, 2**31, 2**32]), st.data()
)
@settings(max_examples=100, deadline=None)
def test_a_batch_takes_and_refuses_as_one_by_one(
    k: int, channels: int, count: int, numbers_end: int, draw: st.DataObject
) -> None:
    node = _session(FROM_NODE)
    node.data_sequence = max(0, numbers_end - count)
    frames = _one_by_one(node, _store([count * k], channels, count), count, k)[1]
    size, places = len(frames[0]), st.integers(0, count - 1)
    for meddle, at, dice in draw.draw(
        st.lists(st.tuples(st.sampled_from(MEDDLING), places, st.integers(0, 2**64 - 1)), max_size=8)
    ):
        frames[at] = meddle(frames[at], dice) if frames[at] else b""
    for at, to in draw.draw(st.lists(st.tuples(places, places), max_size=6)):  # replayed, out of order
        frames.insert(to, frames[at])
    singly, together, at_once = _session(0), _session(0), _session(0)
    half = draw.draw(st.integers(0, len(frames)))
    one = [_singly(singly, f, size) for f in frames]
    many = [t for part in (frames[:half], frames[half:]) for t in batch.take(together, part, k, channels)]
    assert many == one
    rows, taken = batch.columns(at_once, frames, k, channels)
    assert taken.tolist() == [t is not None for t in one]
    for row, told in zip(rows[taken], (t for t in one if t is not None), strict=True):
        first, node_t_us, _, _, status, octets = told
        assert (row["first"], row["node_t_us"], row["status"].tobytes()) == (first, node_t_us, status)
        assert (row["samples"] == np.frombuffer(octets, "<i4").reshape(k, channels)).all()
    around = range(max(0, numbers_end - 2 * REPLAY_WINDOW), numbers_end + count + 2)
    for session in (together, at_once):
        assert session.data.highest == singly.data.highest
        assert [session.data.fresh(n) for n in around] == [singly.data.fresh(n) for n in around]


def test_a_frame_sealed_anew_with_any_bit_of_its_head_wrong_is_judged_as_one_by_one() -> None:
    may_be_any = {*range(112, 240)}  # first and node_t_us; a sequence uses up what lies behind it
    bits = [*range(80), *range(112, 256)]
    frames = _one_by_one(_session(FROM_NODE), _store([len(bits) * 8], 4, 1), len(bits), 8)[1]
    size = len(frames[0])
    frames = [_resealed(frame, bit) for bit, frame in zip(bits, frames, strict=True)]
    singly, together = _session(0), _session(0)
    wanted = [_singly(singly, frame, size) for frame in frames]
    assert batch.take(together, frames, 8, 4) == wanted
    assert {bit for bit, taken in zip(bits, wanted, strict=True) if taken is not None} == may_be_any


def test_a_batch_of_nothing_is_nothing() -> None:
    assert batch.take(_session(0), [], 8, 4) == []
    assert batch.build(_session(FROM_NODE), _store([8], 4, 1), FIRST, 0, 8) == ([], [])


@pytest.mark.parametrize("rows", [[8], [800]])
def test_a_channel_without_a_cell_says_that_no_bridge_is_there(rows: list[int]) -> None:
    store = _store(rows, 4, 1, wired=2)
    session = _session(FROM_NODE)
    for frame in batch.build(session, store, FIRST, rows[0] // 8, 8)[1]:
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


def test_samples_that_were_fed_do_not_change_with_the_block_they_came_in() -> None:
    session, store = _session(FROM_NODE), Store(4, 64)
    t_us = np.arange(1, 161, dtype=np.int64)
    block = Counts(0, t_us, t_us + 5, np.ones((160, 4), np.int32), np.full((160, 4), 2, np.uint8))
    store.feed(block, 0)
    before = batch.build(session, store, 0, 20, 8)
    for column in (block.t_us, block.node_t_us, block.counts, block.status):
        np.add(column, 1, out=column, casting="unsafe")
    assert batch.build(session, store, 0, 20, 8) == before
