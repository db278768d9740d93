"""The shipped vectors of the node link, worked out anew from `cryptography` and struct alone.

Nothing of benchsim's own key schedule or codec is used here: this is the reader that implements the link
from its specification.
"""

from __future__ import annotations

import hashlib
import json
import struct
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.cmac import CMAC
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from benchsim.ground.library import shipped

VECTORS: dict[str, Any] = json.loads(
    (shipped("protocols") / "nodelink" / "vectors.json").read_text(encoding="utf-8")
)
KEYS = {name: bytes.fromhex(value) for name, value in VECTORS["keys"].items()}
BODIES = [bytes.fromhex(told["frame"])[:-4] for told in VECTORS["pairing"]]
SEEK, OFFER, PROVE, ACCEPT = BODIES
FRAMES = [told for part in ("pairing", "refuse", "flow", "resume") for told in VECTORS[part]]


def _mac(key: bytes, content: bytes) -> bytes:
    mac = CMAC(AES(key))
    mac.update(content)
    return mac.finalize()


def _derive(info: bytes, octets: int) -> bytes:
    """Extract and Expand in one, as the library gives it."""
    return HKDF(SHA256(), octets, salt=KEYS["pairing_key"], info=info).derive(KEYS["shared"])


def _transcript(*bodies: bytes) -> bytes:
    return hashlib.sha256(b"".join(struct.pack("<H", len(b)) + b for b in bodies)).digest()


def _crc32c(content: bytes) -> int:
    crc = 0xFFFFFFFF
    for octet in content:
        crc ^= octet
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def test_both_ends_agree_on_the_shared_secret() -> None:
    host = X25519PrivateKey.from_private_bytes(KEYS["host_private"])
    node = X25519PublicKey.from_public_bytes(KEYS["node_public"])
    assert host.exchange(node) == KEYS["shared"]
    assert host.public_key().public_bytes_raw() == KEYS["host_public"]


def test_the_public_values_are_where_the_messages_say() -> None:
    assert SEEK[-32:] == KEYS["host_public"]
    assert OFFER[-32:] == KEYS["node_public"]


def test_the_proofs_follow_from_the_key_and_all_that_was_said() -> None:
    heard = _transcript(SEEK, OFFER)
    proofs = _derive(b"nodelink proofs" + heard, 32)
    assert heard == KEYS["transcript_of_offer"]
    assert proofs == KEYS["host_proof_key"] + KEYS["node_proof_key"]
    assert PROVE[-16:] == _mac(proofs[:16], heard)
    assert ACCEPT[-16:] == _mac(proofs[16:], _transcript(SEEK, OFFER, PROVE, ACCEPT[:-16]))


def test_the_session_keys_follow_from_the_whole_transcript() -> None:
    whole = _transcript(*BODIES)
    assert _derive(b"nodelink session" + whole, 32) == KEYS["session_secret"]
    from cryptography.hazmat.primitives.kdf.hkdf import HKDFExpand

    def grown(info: bytes, octets: int) -> bytes:
        return HKDFExpand(SHA256(), octets, info).derive(KEYS["session_secret"])

    nonces = KEYS["epoch_1_host_nonce"] + KEYS["epoch_1_node_nonce"]
    assert grown(b"nodelink resume", 16) == KEYS["resume_key"]
    assert grown(b"nodelink epoch" + struct.pack("<I", 0), 32) == KEYS["epoch_0_up"] + KEYS["epoch_0_down"]
    assert (
        grown(b"nodelink epoch" + struct.pack("<I", 1) + nonces, 32)
        == KEYS["epoch_1_up"] + KEYS["epoch_1_down"]
    )


@pytest.mark.parametrize("told", FRAMES, ids=lambda t: t["name"])
def test_header_crc_and_stream_of_every_frame(told: dict[str, Any]) -> None:
    frame = bytes.fromhex(told["frame"])
    header = told["header"]
    assert frame[:14] == struct.pack("<BBHBBII", *header.values())
    assert struct.unpack("<I", frame[-4:])[0] == _crc32c(frame[:-4])
    stream = bytes.fromhex(told["stream"])
    assert stream[-1] == 0
    assert _unstuffed(stream[:-1]) == frame


def _unstuffed(encoded: bytes) -> bytes:
    """COBS undone by the paper's rule: a code octet n stands before n - 1 octets and a zero it replaces."""
    out, at = b"", 0
    while at < len(encoded):
        code = encoded[at]
        out += encoded[at + 1 : at + code]
        at += code
        if code < 0xFF and at < len(encoded):
            out += b"\0"
    return out


@pytest.mark.parametrize("told", VECTORS["flow"] + VECTORS["resume"], ids=lambda t: t["name"])
def test_the_tag_of_every_session_frame(told: dict[str, Any]) -> None:
    frame = bytes.fromhex(told["frame"])
    if told["name"].startswith("resume"):
        key = KEYS["resume_key"]
    else:
        epoch = 1 if told in VECTORS["resume"] else 0
        key = KEYS[f"epoch_{epoch}_{'up' if told['header']['flags'] else 'down'}"]
    assert frame[-12:-4] == _mac(key, frame[:-12])[:8] == bytes.fromhex(told["tag"])


def test_the_fields_of_a_data_frame_by_hand() -> None:
    told = next(t for t in VECTORS["flow"] if t["name"] == "data")
    payload = bytes.fromhex(told["frame"])[14:-12]
    fields = told["fields"]
    first, node_t_us, rows, channels = struct.unpack_from("<QQBB", payload)
    assert (first, node_t_us, rows, channels) == (24, 1_300_000, 8, 4)
    assert payload[18:22] == bytes.fromhex(fields["status"]) == bytes([0, 0, 1, 4])
    counts = struct.unpack("<32i", payload[22:])
    assert counts == tuple(1000 * row - 100_000 * channel for row in range(8) for channel in range(4))
