"""AES-CMAC (RFC 4493) of many messages of one length at once: one AES-ECB pass per block position.

Byte for byte what keys.cmac gives for each of them.  Only XOR and AES: no rounding anywhere.
"""

from __future__ import annotations

import numpy as np
from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import ECB
from numpy.typing import NDArray

BLOCK = 16


def padded(octets: int) -> int:
    """Room that a message needs: whole blocks, and at least one."""
    return max(1, -(-octets // BLOCK)) * BLOCK


def doubled(block: bytes) -> bytes:
    """Multiplication by x in GF(2^128), as RFC 4493 section 2.3 makes its subkeys."""
    value = int.from_bytes(block, "big") << 1
    if value >> 128:
        value = (value & ((1 << 128) - 1)) ^ 0x87
    return value.to_bytes(BLOCK, "big")


def tags(key: bytes, messages: NDArray[np.uint8], octets: int) -> NDArray[np.uint8]:
    """The CMAC of each row's first `octets` octets: uint8, (rows, 16).

    messages: uint8, (rows, padded(octets)), contiguous, zero behind each message; what stands behind is
    written over.
    """
    encrypt = Cipher(AES(key), ECB()).encryptor().update
    rows = len(messages)
    first = doubled(encrypt(bytes(BLOCK)))
    last = first
    if octets % BLOCK or not octets:
        messages[:, octets] = 0x80
        last = doubled(first)
    words = messages.view(np.uint64)
    state = np.zeros((rows, 2), dtype=np.uint64)
    for column in range(0, words.shape[1] - 2, 2):
        state = np.frombuffer(encrypt((state ^ words[:, column : column + 2]).tobytes()), np.uint64).reshape(
            rows, 2
        )
    state = state ^ words[:, -2:] ^ np.frombuffer(last, np.uint64)
    return np.frombuffer(encrypt(state.tobytes()), np.uint8).reshape(rows, BLOCK)
