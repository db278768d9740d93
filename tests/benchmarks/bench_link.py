"""Frames of the node link a second: made and tagged, verified and taken apart, single and batched.

Beside construct interpreted (with CRC and tag) and beside the limit, all in one run.  The limit is bare
cryptography: batched CMAC over as many bodies of the same size, and the CRC-32C of each frame, results kept;
then the same with the octets handed out, one object a frame, as whoever sends them needs them.  Then both
ends on the virtual clock, and a thousand pairings beside their bare cryptography.  Nothing is asserted.
All works take turns in rounds; times are of the process, rates are the best of the rounds, ratios their
medians.  Run: python tests/benchmarks/bench_link.py
"""

from __future__ import annotations

import hashlib
import hmac
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.cmac import CMAC
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDFExpand

from benchsim.bench.node import Waker
from benchsim.ground.clock import Queue
from benchsim.ground.randomness import Streams
from benchsim.link import batch, cmac, data, keys
from benchsim.link.codec import crc32c
from benchsim.link.definition import frame_construct
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.gaps import Window
from benchsim.link.hub import Hub
from benchsim.link.limits import CRC_OCTETS, TAG_OCTETS
from benchsim.link.node import NodeEnd
from benchsim.link.session import Session
from benchsim.link.store import Store
from tests.link.site import block_of, flowing, host_card, node_card

SECRET = bytes(range(32))
MANY = cmac.Many(SECRET[:16])
CHANNELS = 4
COUNT = 4_000
BY_CONSTRUCT = 300
ROUNDS = 15
AT_LEAST = 1_000  # frames of a work in a row
Work = Callable[[], object]


def session(from_node: int) -> Session:
    return Session(0x1234, 1, 7, 1, from_node, SECRET)


def measured(works: dict[str, tuple[int, Work]], rounds: int = ROUNDS) -> dict[str, list[float]]:
    """Seconds a frame of each work, (frames, work), in each round: the best of some turns in a row."""
    took: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, (count, work) in works.items():
            turns = [took_s(work) for _ in range(max(3, AT_LEAST // count))]
            took[name].append(min(turns) / count)
    return took


def took_s(work: Work) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def codec_rates(k: int, at_once: int = COUNT) -> None:
    """One table for frames of k samples."""
    store = Store(CHANNELS, 64)
    store.feed(block_of(node_card(1), 0, at_once * k), 0)
    node, host = session(FROM_NODE), session(0)
    made = batch.build(node, store, 0, at_once, k)[1]
    bodies = [f[: -TAG_OCTETS - CRC_OCTETS] for f in made]
    by_construct, limits = constructed(made[:BY_CONSTRUCT], bodies), limits_of(made, bodies)

    def single_make() -> None:
        for n in range(at_once):
            data.make(node, Kind.DATA, n, n * k, store.rows(n * k, n * k + k), k)

    def single_take() -> None:
        host.data = Window()
        for frame in made:
            data.whole(frame)
            data.take(host, frame)

    def to_columns() -> None:
        host.data = Window()
        batch.columns(host, made, k, CHANNELS)

    def to_tuples() -> None:
        host.data = Window()
        batch.take(host, made, k, CHANNELS)

    works: dict[str, Work] = {
        "made + tagged, batched": lambda: batch.build(node, store, 0, at_once, k),
        "made + tagged, single": single_make,
        "verified + decoded to columns, batched": to_columns,
        "the same to one tuple a frame": to_tuples,
        "verified + decoded, single": single_take,
    }
    table(
        f"k = {k}, {CHANNELS} channels, {len(made[0])} octets a frame, {at_once} at once",
        measured(
            {name: (at_once, work) for name, work in (limits | works).items()}
            | {name: (min(at_once, BY_CONSTRUCT), work) for name, work in by_construct.items()}
        ),
    )


LIMIT, OUT = "limit: bare CMAC (batched) + CRC", "  the same, and the octets out"


def limits_of(made: list[bytes], bodies: list[bytes]) -> dict[str, Work]:
    """What no codec of these frames can do without."""
    rows = np.frombuffer(b"".join(made), np.uint8).reshape(len(made), -1)
    octets = len(bodies[0])
    tagger = keys.Tagger(SECRET[:16])

    def bare() -> object:
        return MANY.tags(rows, octets), list(map(crc32c, made))

    def out() -> object:
        return bare(), cmac.lumps(rows)[:, 0].tolist()

    def singly() -> object:
        return list(map(tagger.tag, bodies)), list(map(crc32c, made))

    return {LIMIT: bare, OUT: out, "  bare CMAC (one by one) + CRC": singly}


def constructed(made: list[bytes], bodies: list[bytes]) -> dict[str, Work]:
    """Frames built and parsed by construct, with the tag of each."""
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

    return {"made + tagged, construct": build, "verified + decoded, construct": parse}


def table(title: str, took: dict[str, list[float]]) -> None:
    """Best rates, and how many times as long as the limit each takes."""
    print(f"\n{title}\n  {'':<42}{'frames/s':>12}{'us':>9}{'x limit':>10}{'x with octets out':>20}")
    for name, times in took.items():
        ratios = [statistics.median(map(float.__truediv__, times, took[to])) for to in (LIMIT, OUT)]
        best = min(times)
        print(f"  {name:<42}{1 / best:>12,.0f}{best * 1e6:>9.2f}{ratios[0]:>10.2f}{ratios[1]:>20.2f}")


def ends() -> None:
    """NodeEnd and Hub as the bench calls them: ten-second blocks, every frame an event of its own."""
    rounds = [ends_once() for _ in range(5)]
    frames, taken = rounds[0][2:]
    print(f"\nends, one event a frame: {frames} frames, {taken} taken; the best of {len(rounds)} rounds")
    print(f"  node, feed + due     {min(r[0] for r in rounds) / frames * 1e6:6.2f} us a frame (aim: 6)")
    print(f"  host, receive        {min(r[1] for r in rounds) / frames * 1e6:6.2f} us a frame (aim: 6)")


def ends_once(seconds: int = 600) -> tuple[float, float, int, int]:
    """Seconds that the node and the host took for a flow, its frames, and how many were taken."""
    place = flowing()
    end = place.places[0].end
    first = place.places[0].fed
    sent: list[tuple[int, bytes]] = []
    blocks = [block_of(end.card, first + 800 * n, 800) for n in range(seconds // 10)]
    began = time.process_time()
    for block in blocks:
        end.feed(block)
        end._heard_us = 1 << 60  # no beats here: only the data path is looked at
        next_us = end.wake_us
        while next_us is not None and next_us < (1 << 59):
            out, wake_us = end.due(next_us)
            sent += [(next_us, f) for f in out]
            next_us = wake_us
    node_s = time.process_time() - began
    of_data = [(t_us, f) for t_us, f in sent if f[1] == Kind.DATA]
    receive = place.hub.receive
    began = time.process_time()
    taken = sum(len(receive(frame, t_us)) for t_us, frame in of_data)
    return node_s, time.process_time() - began, len(of_data), taken


class Medium:
    """A host and its nodes on one virtual clock, each woken when it asks for it; no samples."""

    def __init__(self, straps: range, streams: Streams) -> None:
        self.queue, self.flowing = Queue(), 0
        self.hub = Hub(host_card(straps), streams.dice("hub"))
        self.ends = {s: NodeEnd(node_card(s), streams.dice("node", s), lambda t_us: t_us) for s in straps}
        self._hub_waker = Waker(self.queue, self._hub_works, 0)
        self._wakers = {s: Waker(self.queue, partial(self._node_works, s), s) for s in straps}

    def pair(self) -> None:
        """Until all nodes flow, or two seconds have gone."""
        self.hub.pair(0, 0)
        self._hub_waker.at(self.hub.wake_us)
        while self.flowing < len(self.ends) and self.queue.now_us < 2_000_000:
            self.queue.run(self.queue.now_us + 10_000)

    def _hub_works(self, now_us: int) -> None:
        frames, changes, wake_us = self.hub.due(now_us)
        self._count(changes)
        for address, frame in frames:
            for strap in self.ends if address == 0 else (address,):
                self.queue.put(now_us + 500, partial(self._node_hears, strap, frame))
        self._hub_waker.at(wake_us)

    def _count(self, told: object) -> None:
        self.flowing = sum(s.step == "flow" for s in self.hub.states) if told else self.flowing

    def _node_hears(self, strap: int, frame: bytes, now_us: int) -> None:
        self.ends[strap].receive(frame, now_us)
        self._wakers[strap].at(self.ends[strap].wake_us)

    def _node_works(self, strap: int, now_us: int) -> None:
        frames, wake_us = self.ends[strap].due(now_us)
        for frame in frames:
            self.queue.put(now_us + 500, partial(self._hub_hears, frame))
        self._wakers[strap].at(wake_us)

    def _hub_hears(self, frame: bytes, now_us: int) -> None:
        self._count(self.hub.receive(frame, now_us))
        self._hub_waker.at(self.hub.wake_us)


def bare_side(private: bytes, public: bytes) -> bytes:
    """The cryptography of one side of one pairing, on octets of the sizes that its messages have."""
    own = X25519PrivateKey.from_private_bytes(private)
    own.public_key().public_bytes_raw()
    master = hmac.digest(SECRET[:16], own.exchange(X25519PublicKey.from_public_bytes(public)), "sha256")
    for octets, wanted in ((137, 32), (221, 32)):  # what was said: proofs, and what the keys grow from
        heard = hashlib.sha256(bytes(octets)).digest()
        master = HKDFExpand(SHA256(), wanted, bytes(15) + heard).derive(master)
    for octets in (137, 205):  # both proofs
        mac = CMAC(AES(master[:16]))
        mac.update(hashlib.sha256(bytes(octets)).digest())
        mac.finalize()
    for info, wanted in ((18, 32), (14, 16)):  # keys of the epoch, key of resumes; their ciphers
        key = HKDFExpand(SHA256(), wanted, bytes(info)).derive(master)
        for at in range(0, wanted, 16):
            CMAC(AES(key[at : at + 16]))
    return master


def pairing(count: int = 1_000) -> None:
    """Nodes paired on the virtual clock, sixteen to a host; beside it the bare cryptography of as many."""
    sites = [range(1, 1 + min(16, count - at)) for at in range(0, count, 16)]
    public = keys.public_of(SECRET)
    wall, took, bare = [], [], []
    for number in range(5):
        streams, began, began_wall = Streams(number), time.process_time(), time.perf_counter()
        media = [Medium(straps, streams.child("site", at)) for at, straps in enumerate(sites)]
        for medium in media:
            medium.pair()
        took.append(time.process_time() - began)
        wall.append(time.perf_counter() - began_wall)
        assert sum(m.flowing for m in media) == count
        began = time.process_time()
        for n in range(2 * count):
            bare_side(n.to_bytes(32, "little"), public)
        bare.append(time.process_time() - began)
    virtual_ms = max(m.queue.now_us for m in media) // 1000
    ratio = statistics.median(map(float.__truediv__, took, bare))
    each_us, bare_us = (min(seconds) / count * 1e6 for seconds in (took, bare))
    print(f"\npairing: {count} nodes, {len(sites)} hosts, all flow after {virtual_ms} ms of virtual time")
    print(f"  wall time                {min(wall):9.2f} s, the best of {len(wall)}")
    print(f"  time of the process      {min(took):9.2f} s")
    print(f"  a pairing, both ends     {each_us:9.0f} us, {ratio:.2f} x its bare cryptography")
    print(f"  its bare cryptography    {bare_us:9.0f} us")


def resuming(count: int = 1_000) -> None:
    """The same session taken up again and again."""
    place = flowing()
    watch, node = place.hub.seats[1].watch, place.places[0].end
    assert watch is not None
    began = time.process_time()
    for _ in range(count):
        node.receive(watch.resume(place.queue.now_us), place.queue.now_us)
        for frame in node.due(place.queue.now_us)[0]:
            place.hub.receive(frame, place.queue.now_us)
    resumed_s = time.process_time() - began
    assert watch.session.epoch == count
    print(f"  a resume, both ends      {resumed_s / count * 1e6:9.0f} us")


def main() -> None:
    """All of it."""
    for k in (8, 1):
        codec_rates(k)
    codec_rates(8, 100)  # as many as a bench feeds at a time
    ends()
    pairing()
    resuming()


if __name__ == "__main__":
    main()
