"""Pairing key to session keys, proofs and tags.  Every key of the node link is made here.

Key agreement X25519 (RFC 7748), derivation HKDF-SHA-256 (RFC 5869), proofs and tags AES-CMAC (RFC 4493).
Nothing here is random by itself: private keys and nonces are passed in.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass, field

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.cmac import CMAC
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDFExpand

from benchsim.link.cmac import Many
from benchsim.link.limits import TAG_OCTETS

LABEL = b"nodelink "


def public_of(private: bytes) -> bytes:
    """The public value of a private one.  Both 32 octets."""
    return X25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def agree(private: bytes, public: bytes) -> bytes | None:
    """The shared secret, 32 octets; None for a public value of small order (RFC 7748, 6.1)."""
    try:
        ours = X25519PrivateKey.from_private_bytes(private)
        return ours.exchange(X25519PublicKey.from_public_bytes(public))
    except ValueError:
        return None


def extract(salt: bytes, secret: bytes) -> bytes:
    """HKDF-Extract with SHA-256 (RFC 5869, 2.2)."""
    return hmac.digest(salt, secret, "sha256")


def expand(key: bytes, info: bytes, octets: int) -> bytes:
    """HKDF-Expand with SHA-256 (RFC 5869, 2.3)."""
    return HKDFExpand(SHA256(), octets, info).derive(key)


def transcript(*parts: bytes) -> bytes:
    """SHA-256 over what was said, each part after its length (16 bits, little-endian)."""
    return hashlib.sha256(b"".join(len(p).to_bytes(2, "little") + p for p in parts)).digest()


def cmac(key: bytes, content: bytes) -> bytes:
    """AES-CMAC, 16 octets (RFC 4493)."""
    mac = CMAC(AES(key))
    mac.update(content)
    return mac.finalize()


class Tagger:
    """Tags of one direction: AES-CMAC cut to its first 64 bits."""

    __slots__ = ("_mac", "_many", "key")

    def __init__(self, key: bytes) -> None:
        self.key = key
        self._mac = CMAC(AES(key))
        self._many: Many | None = None

    @property
    def many(self) -> Many:
        """The same key for batches, made when first asked for."""
        if self._many is None:
            self._many = Many(self.key)
        return self._many

    def tag(self, body: bytes) -> bytes:
        mac = self._mac.copy()
        mac.update(body)
        return mac.finalize()[:TAG_OCTETS]

    def fits(self, body: bytes, tag: bytes) -> bool:
        """Whether the tag belongs to the body; takes equally long either way."""
        mac = self._mac.copy()
        mac.update(body)
        return hmac.compare_digest(mac.finalize()[:TAG_OCTETS], tag)


@dataclass(frozen=True, slots=True)
class ProofKeys:
    """Keys of the two proofs."""

    host: bytes = field(repr=False)
    node: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class SessionKeys:
    """up: tags of the node's frames.  down: of the host's."""

    up: bytes = field(repr=False)
    down: bytes = field(repr=False)


def proof_keys(master: bytes, heard: bytes) -> ProofKeys:
    """master: extract(pairing key, shared secret).  heard: transcript of seek and offer."""
    octets = expand(master, LABEL + b"proofs" + heard, 32)
    return ProofKeys(octets[:16], octets[16:])


def resume_secret(master: bytes, heard: bytes) -> bytes:
    """What a session's keys grow from, 32 octets.  heard: transcript of seek, offer, prove, accept."""
    return expand(master, LABEL + b"session" + heard, 32)


def session_keys(secret: bytes, epoch: int, host_nonce: bytes = b"", node_nonce: bytes = b"") -> SessionKeys:
    """Tag keys of one epoch: 0 after pairing, then one a resume."""
    info = LABEL + b"epoch" + epoch.to_bytes(4, "little") + host_nonce + node_nonce
    octets = expand(secret, info, 32)
    return SessionKeys(octets[:16], octets[16:])


def resume_key(secret: bytes) -> bytes:
    """Tag key of the frames resume and resumed themselves."""
    return expand(secret, LABEL + b"resume", 16)
