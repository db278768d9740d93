"""Both parties of the node link by its specification alone: `cryptography`, hashlib, struct, nothing of ours.

Written from protocols/nodelink/README.md, sections 1, 2, 4 and 5, to stand opposite either of our ends.  What
it says of a key is the page's "Keys"; names of fields are the page's too.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass, field

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.cmac import CMAC
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF, HKDFExpand

SEEK, OFFER, PROVE, ACCEPT, REFUSE = range(0x01, 0x06)
BEAT, ECHO, AGAIN, GONE, RESUME, RESUMED, RELEASE, RELEASED = range(0x11, 0x19)
DATA, REPEAT = 0x20, 0x21
OF_NODE = (OFFER, ACCEPT, REFUSE, ECHO, GONE, RESUMED, RELEASED, DATA, REPEAT)
VERSION = 1


def crc32c(content: bytes) -> bytes:
    """CRC-32C bit by bit: polynomial 1EDC6F41 reflected, start and final XOR all ones."""
    crc = 0xFFFFFFFF
    for octet in content:
        crc ^= octet
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return (crc ^ 0xFFFFFFFF).to_bytes(4, "little")


def mac(key: bytes, content: bytes) -> bytes:
    """AES-CMAC, all 16 octets."""
    made = CMAC(AES(key))
    made.update(content)
    return made.finalize()


def transcript(*bodies: bytes) -> bytes:
    """H over each body after its length (16 bits)."""
    return hashlib.sha256(b"".join(struct.pack("<H", len(b)) + b for b in bodies)).digest()


def public_of(private: bytes) -> bytes:
    return X25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def exchanged(private: bytes, public: bytes) -> bytes:
    return X25519PrivateKey.from_private_bytes(private).exchange(X25519PublicKey.from_public_bytes(public))


@dataclass(frozen=True)
class Heard:
    """A frame taken apart by the page's layout, its CRC found right."""

    body: bytes
    kind: int
    session: int
    sequence: int
    payload: bytes
    tag: bytes


def heard(frame: bytes) -> Heard:
    """One frame; its CRC must be right."""
    content = frame[:-4]
    assert crc32c(content) == frame[-4:]
    _, kind, _, _, flags, session, sequence = struct.unpack_from("<BBHBBII", content)
    assert flags == (kind in OF_NODE)
    body = content[:-8] if kind >= 0x10 else content
    return Heard(body, kind, session, sequence, body[14:], content[len(body) :])


@dataclass
class Party:
    """What host and node do alike: headers, tags, and the keys that both come to."""

    pairing_key: bytes
    private: bytes
    network: int
    address: int
    session: int = 0
    from_node: int = 0
    seek: bytes = b""
    offer: bytes = b""
    prove: bytes = b""
    accept: bytes = b""
    shared: bytes = b""
    secret: bytes = b""
    up: bytes = b""
    down: bytes = b""
    sequences: dict[str, int] = field(default_factory=dict)

    @property
    def public(self) -> bytes:
        return public_of(self.private)

    def body(self, kind: int, payload: bytes, sequence: int = 0) -> bytes:
        """Header and payload."""
        header = (VERSION, kind, self.network, self.address, self.from_node, self.session, sequence)
        return struct.pack("<BBHBBII", *header) + payload

    def derived(self, info: bytes, octets: int) -> bytes:
        """Expand(Extract(salt = pairing key, shared), info)."""
        return HKDF(SHA256(), octets, salt=self.pairing_key, info=info).derive(self.shared)

    def proof_keys(self) -> tuple[bytes, bytes]:
        """Host proof key, node proof key."""
        both = self.derived(b"nodelink proofs" + transcript(self.seek, self.offer), 32)
        return both[:16], both[16:]

    def host_proof(self) -> bytes:
        return mac(self.proof_keys()[0], transcript(self.seek, self.offer))

    def node_proof(self, unproven: bytes) -> bytes:
        """unproven: accept without its proof."""
        return mac(self.proof_keys()[1], transcript(self.seek, self.offer, self.prove, unproven))

    def begin(self) -> None:
        """All four were said: the session's secret, and epoch 0."""
        whole = transcript(self.seek, self.offer, self.prove, self.accept)
        self.secret = self.derived(b"nodelink session" + whole, 32)
        self.turn(0)

    def grown(self, info: bytes, octets: int) -> bytes:
        return HKDFExpand(SHA256(), octets, info).derive(self.secret)

    def turn(self, epoch: int, host_nonce: bytes = b"", node_nonce: bytes = b"") -> None:
        """The keys of an epoch; every lane counts from 0."""
        both = self.grown(b"nodelink epoch" + struct.pack("<I", epoch) + host_nonce + node_nonce, 32)
        self.up, self.down = both[:16], both[16:]
        self.sequences = {"data": 0, "control": 0, "heard data": 0, "heard control": 0}

    @property
    def resume_key(self) -> bytes:
        return self.grown(b"nodelink resume", 16)

    def tagged(self, kind: int, payload: bytes, key: bytes | None = None) -> bytes:
        """A frame of the session: the next of its lane; key: another than its direction's."""
        own = self.up if self.from_node else self.down
        body = self.body(kind, payload, self._next("data" if kind == DATA else "control"))
        content = body + mac(own if key is None else key, body)[:8]
        return content + crc32c(content)

    def resume_frame(self, kind: int, payload: bytes) -> bytes:
        """resume or resumed: sequence 0, under the resume key."""
        content = self.body(kind, payload)
        content += mac(self.resume_key, content)[:8]
        return content + crc32c(content)

    def checked(self, frame: bytes) -> Heard:
        """A frame of the other end: its tag is right, and it is the next of its lane."""
        told = heard(frame)
        if told.kind in (RESUME, RESUMED):
            key, sequence = self.resume_key, 0
        else:
            key = self.down if self.from_node else self.up
            sequence = self._next("heard data" if told.kind == DATA else "heard control")
        assert told.session == self.session
        assert told.sequence == sequence
        assert told.tag == mac(key, told.body)[:8]
        return told

    def _next(self, lane: str) -> int:
        self.sequences[lane] += 1
        return self.sequences[lane] - 1


def plain(body: bytes) -> bytes:
    """A frame without a tag."""
    return body + crc32c(body)


class OwnHost(Party):
    """A host.  Give it what the node says, put what it says on the wire."""

    def seeks(self, host_id: int, k: int = 8, cells: int = 4) -> bytes:
        settings = struct.pack("<QBBBBII", host_id, VERSION, VERSION, k, cells, 1_000_000, 200_000)
        self.seek = self.body(SEEK, settings + self.public)
        return plain(self.seek)

    def proves(self, offer: bytes) -> bytes:
        told = heard(offer)
        self.offer = told.body
        self.shared = exchanged(self.private, told.payload[-32:])
        self.prove = self.body(PROVE, told.payload[:8] + self.host_proof())
        return plain(self.prove)

    def takes(self, accept: bytes) -> int:
        """The node's proof must be right.  Gives the first sample of the flow."""
        self.accept = heard(accept).body
        assert self.accept[-16:] == self.node_proof(self.accept[:-16])
        self.begin()
        return int.from_bytes(self.accept[22:30], "little")


class OwnNode(Party):
    """A node.  serial: its own; k: samples a frame."""

    serial: int = 0x0123_4567_89AB_CDEF
    k: int = 8

    def offers(self, seek: bytes, rate_hz: int = 80) -> bytes:
        told = heard(seek)
        self.seek, self.session, self.from_node = told.body, told.session, 1
        self.k = min(self.k, told.payload[10])
        self.shared = exchanged(self.private, told.payload[-32:])
        who = struct.pack("<QBBHBBBH", self.serial, VERSION, 4, rate_hz, self.k, 1, 0, 1024)
        self.offer = self.body(OFFER, who + bytes(8) + self.public)
        return plain(self.offer)

    def accepts(self, prove: bytes, next_sample: int) -> bytes:
        """The host's proof must be right."""
        told = heard(prove)
        self.prove = told.body
        assert told.payload == struct.pack("<Q", self.serial) + self.host_proof()
        unproven = self.body(ACCEPT, struct.pack("<QQ", self.serial, next_sample))
        self.accept = unproven + self.node_proof(unproven)
        self.begin()
        return plain(self.accept)

    def samples(self, first: int, kind: int = DATA, key: bytes | None = None) -> bytes:
        """A frame of k samples of four channels, each its own number."""
        counts = [4 * (first + row) + channel for row in range(self.k) for channel in range(4)]
        head = struct.pack("<QQBB4x", first, 12_500 * first, self.k, 4)
        return self.tagged(kind, head + struct.pack(f"<{len(counts)}i", *counts), key)
