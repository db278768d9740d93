"""A host and a node made from the specification alone, opposite our node and our host: keys, proofs, tags.

Source: protocols/nodelink/README.md by way of tests/link/composed.py, which takes X25519 (RFC 7748), HKDF
(RFC 5869) and AES-CMAC (RFC 4493) from `cryptography` and nothing from benchsim.  Both directions, epoch 0,
and after one and two resumes.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from benchsim.ground.library import shipped
from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, Counts, LinkState, Samples
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from tests.link import composed as own
from tests.link.composed import Heard, OwnHost, OwnNode
from tests.link.site import KEY, block_of, count_of, host_card, node_card
from tests.link.specification import HOST, NODE, NUMBER

SECOND = 1_000_000
PRIVATE_VALUES = [bytes([n]) * 31 + b"\x40" for n in (1, 0x5A, 0xFF)]
VECTORS: dict[str, Any] = json.loads(
    (shipped("protocols") / "nodelink" / "vectors.json").read_text(encoding="utf-8")
)
KEYS = {name: bytes.fromhex(value) for name, value in VECTORS["keys"].items()}


@dataclass
class OurNode:
    """Our node and what it has said so far."""

    end: NodeEnd
    now_us: int = 0

    def hear(self, frame: bytes) -> None:
        self.end.receive(frame, self.now_us)

    def said_by(self, until_us: int) -> list[bytes]:
        """All frames up to a time."""
        out: list[bytes] = []
        while True:
            frames, wake_us = self.end.due(self.now_us)
            out += frames
            if wake_us is None or wake_us > until_us:
                self.now_us = until_us
                return out
            self.now_us = max(wake_us, self.now_us)

    def answer(self, frame: bytes) -> bytes:
        """The one frame that it says at once."""
        self.hear(frame)
        (said,) = self.said_by(self.now_us)
        return said


def _paired_with_node(private: bytes) -> tuple[OwnHost, OurNode, int]:
    """Its pairing with our node; the first sample of the flow."""
    node = OurNode(NodeEnd(node_card(1), Dice(private[0]), lambda t_us: t_us + 77))
    node.end.feed(block_of(node.end.card, 0, 600))
    host = OwnHost(KEY, private, network=7, address=1, session=0x0BAD_CAFE)
    node.hear(host.seeks(0xA0))
    (offer,) = node.said_by(100_000)  # within half the offer window
    accept = node.answer(host.proves(offer))
    return host, node, host.takes(accept)


def _is_flow(host: OwnHost, frames: Sequence[bytes], first: int) -> int:
    """Data frames that follow each other and carry what our node has read; the sample after them."""
    assert frames
    for frame in frames:
        told = host.checked(frame)
        start, _, rows, channels = struct.unpack_from("<QQBB", told.payload)
        assert (told.kind, start, rows, channels) == (own.DATA, first, 8, 4)
        counts = struct.unpack("<32i", told.payload[22:])
        assert counts == tuple(count_of(0x1001, start + row, ch) for row in range(8) for ch in range(4))
        first += 8
    return first


@pytest.mark.parametrize("private", PRIVATE_VALUES, ids=lambda p: p[:1].hex())
def test_our_node_pairs_with_a_host_of_the_page_and_tags_its_flow_as_the_page_says(private: bytes) -> None:
    host, node, first = _paired_with_node(private)
    assert first % 8 == 0
    _is_flow(host, node.said_by(2 * SECOND), first)


def test_our_node_hears_and_answers_the_control_lane_as_the_page_says() -> None:
    host, node, first = _paired_with_node(PRIVATE_VALUES[0])
    first = _is_flow(host, node.said_by(3 * SECOND), first)
    echo = host.checked(node.answer(host.tagged(own.BEAT, struct.pack("<Q", 3 * SECOND))))
    assert echo.kind == own.ECHO
    assert struct.unpack("<QQQ", echo.payload) == (3 * SECOND, 3 * SECOND + 77, first)
    repeat = host.checked(node.answer(host.tagged(own.AGAIN, struct.pack("<BQH", 1, first - 5, 2))))
    assert (repeat.kind, repeat.payload[:8], repeat.payload[16]) == (own.REPEAT, _u64(first - 5), 2)
    released = host.checked(node.answer(host.tagged(own.RELEASE, _u64(9))))
    assert (released.kind, released.payload) == (own.RELEASED, _u64(9))
    assert node.end.bound_host is None


def _u64(value: int) -> bytes:
    return struct.pack("<Q", value)


def test_our_node_answers_no_beat_under_the_key_of_the_other_direction_or_of_a_resume() -> None:
    host, node, _ = _paired_with_node(PRIVATE_VALUES[1])
    node.said_by(node.now_us)
    for key in (host.up, host.resume_key, host.secret[:16]):
        node.hear(host.tagged(own.BEAT, _u64(1), key))
        assert node.said_by(node.now_us) == []
    assert node.end.bad_tags == 3


def _resumed(host: OwnHost, node: OurNode, epoch: int) -> int:
    """The session is taken up with the keys of an epoch; the first sample of its flow."""
    nonce = bytes([epoch]) * 16
    answer = host.checked(node.answer(host.resume_frame(own.RESUME, struct.pack("<I", epoch) + nonce)))
    told_epoch, host_nonce, node_nonce, first = struct.unpack("<I16s16sQ", answer.payload)
    assert (answer.kind, told_epoch, host_nonce) == (own.RESUMED, epoch, nonce)
    host.turn(epoch, nonce, node_nonce)
    return int(first)


def test_our_node_turns_its_keys_at_every_resume_as_the_page_says() -> None:
    host, node, first = _paired_with_node(PRIVATE_VALUES[2])
    seen = [(host.up, host.down)]
    _is_flow(host, node.said_by(2 * SECOND), first)
    for epoch in (1, 5):
        old_down = host.down
        first = _resumed(host, node, epoch)
        seen.append((host.up, host.down))
        node.hear(host.tagged(own.BEAT, _u64(7), old_down))
        assert node.said_by(node.now_us) == []
        _is_flow(host, node.said_by(node.now_us + SECOND), first)
        echo = host.checked(node.answer(host.tagged(own.BEAT, _u64(8))))
        assert echo.payload[:8] == _u64(8)
    assert len({key for both in seen for key in both}) == 6


def test_a_host_of_another_pairing_key_gets_no_accept_from_our_node() -> None:
    node = OurNode(NodeEnd(node_card(1), Dice(1), lambda t_us: t_us))
    host = OwnHost(bytes(16), PRIVATE_VALUES[0], network=7, address=1, session=5)
    node.hear(host.seeks(0xA0))
    (offer,) = node.said_by(100_000)
    refuse = own.heard(node.answer(host.proves(offer)))
    assert (refuse.kind, refuse.payload[0]) == (own.REFUSE, 4)  # wrong key


# -- our host ------------------------------------------------------------------------------------------


@dataclass
class OurHost:
    """Our host and what it was told of."""

    hub: Hub
    now_us: int = 0
    told: list[object] = field(default_factory=list)

    def hear(self, frame: bytes) -> list[object]:
        """What it makes of a frame."""
        told: list[object] = list(self.hub.receive(frame, self.now_us))
        self.told += told
        return told

    def said_by(self, until_us: int) -> list[bytes]:
        """All frames up to a time."""
        out: list[bytes] = []
        while True:
            frames, states, wake_us = self.hub.due(self.now_us)
            out += [frame for _, frame in frames]
            self.told += states
            if wake_us is None or wake_us > until_us:
                self.now_us = until_us
                return out
            self.now_us = max(wake_us, self.now_us)

    @property
    def step(self) -> str:
        return self.hub.states[0].step


def _paired_with_host(private: bytes) -> tuple[OwnNode, OurHost]:
    """Its pairing with our host, up to the flow."""
    host = OurHost(Hub(host_card((1,)), Dice(private[0])))
    node = OwnNode(KEY, private, network=7, address=1)
    host.hub.pair(1, 0)
    (seek,) = host.said_by(0)
    host.hear(node.offers(seek))
    (prove,) = host.said_by(200_000)
    host.hear(node.accepts(prove, 24))
    return node, host


def _beats(node: OwnNode, frames: Sequence[bytes]) -> list[Heard]:
    found = [node.checked(frame) for frame in frames]
    assert {told.kind for told in found} == {own.BEAT}
    return found


@pytest.mark.parametrize("private", PRIVATE_VALUES, ids=lambda p: p[:1].hex())
def test_our_host_pairs_with_a_node_of_the_page_and_beats_as_the_page_says(private: bytes) -> None:
    node, host = _paired_with_host(private)
    assert host.step == "flow"
    (beat,) = _beats(node, host.said_by(host.now_us))
    (reading,) = host.hear(node.tagged(own.ECHO, beat.payload + struct.pack("<QQ", 4_000, 24)))
    assert isinstance(reading, ClockReading)
    assert reading.node_t_us == 4_000


def test_our_host_takes_the_flow_asks_for_what_lacks_and_lets_go_as_the_page_says() -> None:
    node, host = _paired_with_host(PRIVATE_VALUES[0])
    _beats(node, host.said_by(host.now_us))
    (samples,) = host.hear(node.samples(24))
    assert isinstance(samples, Samples)
    assert samples.octets == struct.pack("<32i", *range(96, 128))
    assert host.hear(node.samples(40)) != []  # 32 to 39 lack
    (again,) = (node.checked(f) for f in host.said_by(host.now_us + 20_000))
    assert (again.kind, again.payload) == (own.AGAIN, struct.pack("<BQH", 1, 32, 8))
    (filled,) = host.hear(node.samples(32, own.REPEAT))
    assert isinstance(filled, Samples)
    assert filled.resent
    host.hub.release(1, host.now_us)
    (release,) = (node.checked(f) for f in host.said_by(host.now_us))
    assert release.kind == own.RELEASE
    host.hear(node.tagged(own.RELEASED, release.payload))
    assert host.step == "released"


def test_our_host_takes_no_data_under_any_other_key() -> None:
    node, host = _paired_with_host(PRIVATE_VALUES[1])
    for key in (node.down, node.resume_key, node.secret[:16]):
        assert host.hear(node.samples(24, key=key)) == []
    assert host.hear(node.samples(24)) != []


def test_our_host_resumes_with_keys_as_the_page_says() -> None:
    node, host = _paired_with_host(PRIVATE_VALUES[2])
    _beats(node, host.said_by(host.now_us))
    assert host.hear(node.samples(24)) != []
    for epochs, first in (((1, 2), 80), ((3, 4), 160)):
        old_up, resumes = node.up, _resumes_of(node, host, len(epochs))
        assert [epoch for epoch, _ in resumes] == list(epochs)
        assert len({nonce for _, nonce in resumes}) == len(epochs)
        epoch, nonce = resumes[-1]
        mine = bytes([0xE0 + epoch]) * 16
        host.hear(node.resume_frame(own.RESUMED, struct.pack("<I16s16sQ", epoch, nonce, mine, first)))
        assert host.step == "flow"
        node.turn(epoch, nonce, mine)
        assert host.hear(node.samples(first, key=old_up)) == []
        node.turn(epoch, nonce, mine)
        beat, *_ = (node.checked(f) for f in host.said_by(host.now_us))
        assert beat.kind == own.BEAT
        (samples,) = (told for told in host.hear(node.samples(first)) if isinstance(told, Samples))
        assert samples.first == first


def _resumes_of(node: OwnNode, host: OurHost, count: int) -> list[tuple[int, bytes]]:
    """Epochs and nonces of the resumes that our host says once nothing is heard any more."""
    found: list[tuple[int, bytes]] = []
    while len(found) < count:
        told = (node.checked(f) for f in host.said_by(host.now_us + 100_000))
        found += [struct.unpack("<I16s", t.payload) for t in told if t.kind == own.RESUME]
    assert host.step == "lost"
    return found


def test_a_node_of_another_pairing_key_finds_the_proof_of_our_host_wrong() -> None:
    host, node = OurHost(Hub(host_card((1,)), Dice(3))), OwnNode(bytes(16), PRIVATE_VALUES[0], 7, 1)
    host.hub.pair(1, 0)
    (seek,) = host.said_by(0)
    host.hear(node.offers(seek))
    (prove,) = host.said_by(200_000)
    assert own.heard(prove).payload[:8] == _u64(node.serial)
    assert own.heard(prove).payload[8:] != node.host_proof()


def test_our_host_takes_no_accept_whose_proof_has_one_wrong_bit() -> None:
    host = OurHost(Hub(host_card((1,)), Dice(3)))
    node = OwnNode(KEY, PRIVATE_VALUES[0], network=7, address=1)
    host.hub.pair(1, 0)
    (seek,) = host.said_by(0)
    host.hear(node.offers(seek))
    (prove,) = host.said_by(200_000)
    body = bytearray(node.accepts(prove, 24)[:-4])
    body[-1] ^= 1
    host.hear(own.plain(bytes(body)))
    assert host.hub.states[0].step == "failed"
    assert host.hub.states[0].reason == "wrong key"


# -- the published vectors ------------------------------------------------------------------------------


class Written(Dice):
    """Draws that were written down beforehand: what the vectors were made with."""

    def __init__(self, octets: list[bytes], number: int = 0) -> None:
        super().__init__(0)
        self._octets, self._number = octets, number

    def octets(self, count: int) -> bytes:
        drawn = self._octets.pop(0)
        assert len(drawn) == count
        return drawn

    def below(self, limit: int) -> int:
        return self._number


def _frame(part: str, name: str, which: int = 0) -> bytes:
    return bytes.fromhex([told["frame"] for told in VECTORS[part] if told["name"] == name][which])


def test_composed_by_hand_the_pairing_of_the_vectors_gives_their_frames_and_keys() -> None:
    host = OwnHost(KEYS["pairing_key"], KEYS["host_private"], 7, 3, NUMBER)
    seek, offer = _frame("pairing", "seek"), _frame("pairing", "offer")
    assert host.seeks(HOST.host_id) == seek
    assert host.proves(offer) == _frame("pairing", "prove")
    assert host.takes(_frame("pairing", "accept")) == 24
    assert (host.shared, host.secret) == (KEYS["shared"], KEYS["session_secret"])
    assert host.proof_keys() == (KEYS["host_proof_key"], KEYS["node_proof_key"])
    assert (host.up, host.down) == (KEYS["epoch_0_up"], KEYS["epoch_0_down"])
    assert host.resume_key == KEYS["resume_key"]
    nonces = (KEYS["epoch_1_host_nonce"], KEYS["epoch_1_node_nonce"])
    assert host.resume_frame(own.RESUME, struct.pack("<I", 1) + nonces[0]) == _frame("resume", "resume")
    assert host.checked(_frame("resume", "resumed")).payload[4:36] == nonces[0] + nonces[1]
    host.turn(1, *nonces)
    assert (host.up, host.down) == (KEYS["epoch_1_up"], KEYS["epoch_1_down"])
    assert host.checked(_frame("resume", "data")).kind == own.DATA


def _as_in_the_vectors(rows: int) -> Counts:
    """Samples from 0 on whose frames of 8 are all as the vectors' are; n is complete at 12.5 ms * (n + 1)."""
    numbers = np.arange(rows, dtype=np.int64)
    counts = (1000 * (numbers[:, None] % 8) - 100_000 * np.arange(4)).astype(np.int32)
    status = np.tile(np.array([0, 0, 1, 4], np.uint8), (rows, 1))
    return Counts(0, 12_500 * (numbers + 1), 1_000_000 + 12_500 * numbers, counts, status)


def test_our_node_says_the_frames_of_the_vectors_octet_by_octet() -> None:
    draws = [KEYS["node_private"], KEYS["epoch_1_node_nonce"]]
    node = OurNode(NodeEnd(NODE, Written(draws), lambda _: 4_700_123))
    node.end.feed(_as_in_the_vectors(408))
    node.now_us = 12_500 * 24
    assert node.answer(_frame("pairing", "seek")) == _frame("pairing", "offer")
    assert node.answer(_frame("pairing", "prove")) == _frame("pairing", "accept")
    assert node.answer(_frame("flow", "beat")) == _frame("flow", "echo")
    said = node.said_by(12_500 * 48)
    assert said[::2] == [_frame("flow", "data"), _frame("flow", "data", 1)]
    node.now_us = 12_500 * 400
    node.end.receive(_frame("resume", "resume"), node.now_us)
    assert node.said_by(12_500 * 408) == [_frame("resume", "resumed"), _frame("resume", "data")]


def test_our_host_says_the_frames_of_the_vectors_octet_by_octet_and_takes_the_node_s() -> None:
    draws = [KEYS["host_private"], KEYS["epoch_1_host_nonce"]]
    host = OurHost(Hub(HOST, Written(draws, NUMBER - 1)), now_us=5_000_000 - 200_000)
    host.hub.pair(3, host.now_us)
    assert host.said_by(host.now_us) == [_frame("pairing", "seek")]
    host.hear(_frame("pairing", "offer"))
    assert host.said_by(5_000_000) == [_frame("pairing", "prove")]
    host.hear(_frame("pairing", "accept"))
    assert host.said_by(5_000_000) == [_frame("flow", "beat")]
    kinds = [
        type(told)
        for name, which in (("echo", 0), ("data", 0), ("data", 1), ("repeat", 0))
        for told in host.hear(_frame("flow", name, which))
    ]
    assert kinds == [ClockReading, Samples, Samples, Samples]
    said = host.said_by(host.now_us + 1_100_000)
    assert said[-1] == _frame("resume", "resume")
    assert host.step == "lost"
    (state,) = host.hear(_frame("resume", "resumed"))
    assert isinstance(state, LinkState)
    assert state.step == "flow"
    (samples,) = host.hear(_frame("resume", "data"))
    assert isinstance(samples, Samples)
    assert samples.first == 400
