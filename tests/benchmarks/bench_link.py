"""Frames of the node link a second: made and tagged, verified and taken apart, single and batched.

Beside construct interpreted (with CRC and tag) and beside the limit, which is the bare CMAC and CRC of the
same octets, all in one run.  Then both ends on the virtual clock, and pairing.  Nothing is asserted.
Times are of the process, the best of some rounds.
Run: python tests/benchmarks/bench_link.py
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from numpy.typing import NDArray

from benchsim.link import batch, cmac, data, keys
from benchsim.link.codec import crc32c
from benchsim.link.definition import frame_construct
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.limits import CRC_OCTETS, TAG_OCTETS
from benchsim.link.session import Session
from benchsim.link.store import Store
from tests.link.meddling import kind_of
from tests.link.site import block_of, flowing, node_card, site

SECRET = bytes(range(32))
MANY = cmac.Many(SECRET[:16])
CHANNELS = 4
COUNT = 4_000


def session(from_node: int) -> Session:
    return Session(0x1234, 1, 7, 1, from_node, SECRET)


def per_second(count: int, work: Callable[[], object], rounds: int = 30) -> float:
    """The best of some rounds."""
    best = float("inf")
    for _ in range(rounds):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return count / best


def codec_rates(k: int) -> None:
    """One table for frames of k samples."""
    store = Store(CHANNELS, 64)
    store.feed(block_of(node_card(1), 0, COUNT * k), 0)
    node = session(FROM_NODE)
    made = batch.build(node, store, 0, COUNT, k)[1]
    octets = batch.body_octets(k, CHANNELS)
    rows = np.frombuffer(b"".join(made), np.uint8).reshape(COUNT, -1)
    padded = np.zeros((COUNT, cmac.padded(octets)), dtype=np.uint8)
    padded[:, :octets] = rows[:, :octets]
    bodies = [f[: -TAG_OCTETS - CRC_OCTETS] for f in made]

    def single_build() -> None:
        for n in range(COUNT):
            data.make(node, Kind.DATA, n, n * k, store.rows(n * k, n * k + k), k)

    def single_take() -> None:
        host = session(0)
        for frame in made:
            data.whole(frame)
            data.take(host, frame)

    limit = per_second(COUNT, lambda: limit_batched(padded, octets, made))
    print(f"\nk = {k}, {CHANNELS} channels, {len(made[0])} octets a frame, {COUNT} at once")
    row("limit: bare CMAC (batched) + CRC", limit, limit)
    row("limit: bare CMAC (one by one) + CRC", per_second(COUNT, lambda: limit_single(bodies, made)), limit)
    row("made + tagged, batched", per_second(COUNT, lambda: batch.build(node, store, 0, COUNT, k)), limit)
    row("made + tagged, single", per_second(COUNT, single_build), limit)
    by_construct = construct_rates(made[:300], bodies)
    row("made + tagged, construct", by_construct[0], limit)
    verified = per_second(COUNT, lambda: batch.verify(session(0), made, k, CHANNELS))
    row("verified + decoded to columns, batched", verified, limit)
    taken = per_second(COUNT, lambda: batch.take(session(0), made, k, CHANNELS))
    row("the same to one tuple a frame", taken, limit)
    row("verified + decoded, single", per_second(COUNT, single_take), limit)
    row("verified + decoded, construct", by_construct[1], limit)


def limit_batched(padded: NDArray[np.uint8], octets: int, made: list[bytes]) -> None:
    MANY.tags(padded, octets)
    for frame in made:
        crc32c(frame)


def limit_single(bodies: list[bytes], made: list[bytes]) -> None:
    tagger = keys.Tagger(SECRET[:16])
    for body, frame in zip(bodies, made, strict=True):
        tagger.tag(body)
        crc32c(frame)


def construct_rates(made: list[bytes], bodies: list[bytes]) -> tuple[float, float]:
    """Built and parsed a second, with the tag of each."""
    interpreted, tagger = frame_construct(Kind.DATA), keys.Tagger(SECRET[:16])
    values = [{"sealed": {"value": interpreted.parse(f).sealed.value}} for f in made]

    def build() -> None:
        for value, body in zip(values, bodies, strict=False):
            tagger.tag(body)
            interpreted.build(value)

    def parse() -> None:
        for frame, body in zip(made, bodies, strict=False):
            interpreted.parse(frame)
            tagger.tag(body)

    return per_second(len(made), build, 5), per_second(len(made), parse, 5)


def row(name: str, rate: float, limit: float) -> None:
    print(f"  {name:<42}{rate:>12,.0f} /s {1e6 / rate:>8.2f} us {limit / rate:>8.2f} x the limit's time")


def ends() -> None:
    """NodeEnd and Hub as the bench calls them: ten-second blocks, every frame an event of its own."""
    place = flowing()
    end = place.places[0].end
    seconds = 600
    start_us, first = place.queue.now_us, place.places[0].fed
    frames_sent: list[tuple[int, bytes]] = []
    began = time.process_time()
    next_us: int | None = start_us
    for block in range(seconds // 10):
        end.feed(block_of(end.card, first + 800 * block, 800))
        end._heard_us = 1 << 60  # no beats here: only the data path is looked at
        next_us = end.wake_us
        while next_us is not None and next_us < (1 << 59):
            out, wake_us = end.due(next_us)
            frames_sent += [(next_us, f) for f in out]
            next_us = wake_us
    node_s = time.process_time() - began
    of_data = [(t, f) for t, f in frames_sent if kind_of(f) is Kind.DATA]
    receive = place.hub.receive
    began = time.process_time()
    taken = sum(len(receive(frame, t_us)) for t_us, frame in of_data)
    host_s = time.process_time() - began
    print(f"\nends, one event a frame: {len(of_data)} frames, {taken} taken")
    print(f"  node, feed + due     {node_s / len(frames_sent) * 1e6:6.2f} us a frame (aim: 6)")
    print(f"  host, receive        {host_s / len(of_data) * 1e6:6.2f} us a frame (aim: 6)")


def pairing(count: int = 1_000) -> None:
    """Nodes paired on the virtual clock, sixteen at a time."""
    began = time.process_time()
    paired = 0
    for _ in range(-(-count // 16)):
        place = site(range(1, 17))
        for strap in range(1, 17):
            place.add(node_card(strap))
        place.hub.pair(0, 0)
        place.run(500_000)
        paired += sum(s.step == "flow" for s in place.hub.states)
    took_s = time.process_time() - began
    print(f"\npairing: {paired} nodes in {took_s:.2f} s of wall time, {took_s / paired * 1e6:.0f} us a node")
    place = flowing()
    watch, node = place.hub.seats[1].watch, place.places[0].end
    assert watch is not None
    began = time.process_time()
    for _ in range(count):
        node.receive(watch.resume(place.queue.now_us), place.queue.now_us)
        for frame in node.due(place.queue.now_us)[0]:
            place.hub.receive(frame, place.queue.now_us)
    took_s = time.process_time() - began
    assert watch.session.epoch == count
    print(f"resume: {took_s / count * 1e6:.0f} us, both sides")


def main() -> None:
    """All of it."""
    for k in (8, 1):
        codec_rates(k)
    ends()
    pairing()


if __name__ == "__main__":
    main()
